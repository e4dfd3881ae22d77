"""The shop at an instant as the planner sees it: output, stays, keys, work ahead."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from crib.errors import NotKnown
from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.left_out import LeftOut, each
from crib.life.observations import BROKEN, CENSORED, WORN
from crib.outlook.cutting_data import CuttingData
from crib.outlook.hours_of_shop import hours_of_shop
from crib.outlook.implausible import implausible_records
from crib.outlook.kept_output import KeptOutput, line_of_counter
from crib.outlook.machine_now import MachineNow, Seen, machine_now, unknown_machine
from crib.outlook.machine_told import MachineTold
from crib.outlook.shop_read import read_whole
from crib.outlook.stand_ins import with_stand_ins
from crib.outlook.stays import Stay, output_of_station, work_out_stays
from crib.outlook.to_put_right import ToPutRight
from crib.planning.due import MachineAhead
from crib.planning.output import MachineOutput, output_of_runs, windows_of
from crib.sentence import sentence
from crib.stock.assembly import STAYS_BUILT
from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.feeds import asked_last
from crib.store.machine_rows import StayRow
from crib.store.readings import Readings
from crib.store.shop_records import MachineOfShop, RunOfShop, StationOfShop
from crib.store.shop_rows import ShopRows
from crib.units import TENTHS_UM_PER_MM

if TYPE_CHECKING:
    from crib.outlook.own_constants import ItemEstimate

#: What a removal says of the edge's life; the rest of the reasons say "worn".
ENDINGS = {
    "worn_as_planned": CENSORED,
    "job_change": CENSORED,
    "inspection": CENSORED,
    "chipped": BROKEN,
    "broken": BROKEN,
}


@dataclass(frozen=True, slots=True)
class ShopNow:
    """Everything the forecast and the swap list are made of.

    It is built once and never changed: what is found out later makes another one.

    Attributes:
        now: The instant it speaks of.
        rows: Facts and records.
        cutting: Wear per part of any station and part.
        machines: What each machine made and what lies ahead of it, by id, in order.
        bench: The calendar called bench or toolroom, if the shop has one.
        left_out: What was worked out without, and why.
        to_put_right: What a person has to see to in records and at counters.
        stays: Every stay so far, in the order of ``rows.stays``.
        unknown: Stays of tools that are left out; ``stays`` and ``rows.stays`` lack them.
        estimates: Constants from the shop's own edges, as ``own_constants`` works them out.
    """

    now: datetime
    rows: ShopRows
    cutting: CuttingData
    machines: Mapping[int, MachineNow]
    bench: WorkCalendar | None
    left_out: LeftOut
    to_put_right: tuple[ToPutRight, ...]
    stays: Sequence[Stay] = ()
    unknown: Sequence[StayRow] = ()
    estimates: tuple[ItemEstimate, ...] = ()

    def telling(
        self, others: Iterable[str], to_put_right: Iterable[ToPutRight] = ()
    ) -> ShopNow:
        """The same shop, where more was left out or is to be put right; each is named once."""
        return replace(
            self,
            left_out=self.left_out.with_others(others),
            to_put_right=tuple(dict.fromkeys((*self.to_put_right, *to_put_right))),
        )

    @property
    def ahead(self) -> list[MachineAhead]:
        """Time and work ahead of each machine, in the order of ``machines``."""
        return [one.ahead for one in self.machines.values()]

    @property
    def problems(self) -> tuple[str, ...]:
        """What is to be put right, and what was worked out without, in sentences."""
        return (*(one.sentence for one in self.to_put_right), *self.left_out.records)

    def ending(self, row: StayRow) -> int:
        """What the end of a stay says of its edge's life."""
        spec = self.rows.specs[self.rows.assemblies[row.assembly_id].tool_spec_id]
        return ending(row.reason, row.flank_wear_tenths_um, spec.wear_limit_mm)

    def work_out(self, stays: Sequence[StayRow]) -> list[Stay]:
        """What such stays took, or would have taken, of their edges; in their order."""
        rows = replace(self.rows, stays=list(stays))
        return work_out_stays(rows, self.cutting, self.machines, us_of(self.now))

    def machine_named(self, text: str) -> str:
        """Name of the machine that a text means, in any case where that is clear.

        Raises:
            NotKnown: There is no such machine.
        """
        names = [str(machine.machine) for machine in self.rows.machines.values()]
        wanted = text.strip()
        if wanted in names:
            return wanted
        alike = [name for name in names if name.casefold() == wanted.casefold()]
        if len(alike) == 1:
            return alike[0]
        raise NotKnown(
            sentence("There is no machine '{wanted}' here.", wanted=wanted[:60]),
            facts={"machine": wanted[:60]},
            errors=[
                {
                    "field": "machine",
                    "parameter": "machine",
                    "detail": sentence("is not a machine here"),
                }
            ],
        )

    def charging(self, station: StationOfShop) -> MachineOutput:
        """The output that charges the edges of a station."""
        return output_of_station(station, self.machines)

    def told(self, machine_id: int) -> MachineTold:
        """Whether a machine cuts or stands, by its counts; nothing where it is not known."""
        one = self.machines.get(machine_id)
        return one.told if one else MachineTold()


def read_shop(tx: Tx, now: datetime, kept: KeptOutput | None = None) -> ShopNow:
    """Read the shop and work out outputs, stays and plans as of an instant.

    Args:
        tx: An open transaction.
        now: The instant; facts dated later are not seen.
        kept: What the process kept of the counters; all is read where there is nothing.
    """
    return with_tools(view_machines(tx, now, kept))


def view_machines(tx: Tx, now: datetime, kept: KeptOutput | None = None) -> ShopNow:
    """Read the shop and lay out its machines; what their tools took is not worked out yet.

    A machine whose figures cannot be worked out stays in the shop as one without runs, and is
    named in ``left_out``.

    Args:
        tx: An open transaction.
        now: The instant; facts dated later are not seen.
        kept: What the process kept of the counters; all is read where there is nothing.
    """
    now_us = us_of(now)
    rows, cutting, wrong = kept.look(tx, now_us) if kept else read_whole(tx, now_us)
    asked_at, hours = asked_last(tx), hours_of_shop(rows, now)
    rows, lost = with_stand_ins(rows, wrong)
    left_out = implausible_records(wrong, rows, cutting)
    left_out = left_out.with_tools(lost).with_others(wrong.dangling)
    if rows.readings_left_out:
        left_out = left_out.with_others([_readings_lost(rows.readings_left_out)])
    closed = {
        machine.id: why
        for machine in rows.machines.values()
        if (why := hours.unreadable.get(machine.calendar_id or 0)) is not None
    }
    left_out = left_out.with_machines(closed).with_others(hours.unreadable.values())
    read: dict[int, dict[int, Readings]] = defaultdict(dict)
    for counter, readings in rows.readings.items():
        read[counter.machine_id][counter.path] = readings

    def output_of(counter: Counted, began: Sequence[RunOfShop], counted: bool) -> MachineOutput:
        if kept:
            return kept.output(counter, rows.readings, began, now_us, counted=counted)
        line = line_of_counter(rows.readings, counter, counted=counted)
        return output_of_runs(*line, [run.id for run in began], windows_of(began, now_us))

    found: dict[int, MachineNow] = {}

    def lay(machine: MachineOfShop) -> None:
        if machine.id not in left_out.machines:
            runs = rows.runs.get(machine.id, ())
            told = read.get(machine.id, {})
            at = asked_at.get(machine.id)
            calendar, time = hours.of(machine.calendar_id)
            found[machine.id] = machine_now(
                Seen(machine, runs, told, calendar, time, now, at), output_of
            )

    failed: dict[int, str] = {}

    def fail(machine: MachineOfShop) -> str:
        failed[machine.id] = text = sentence(
            "The figures of machine {machine} could not be worked out. Check its "
            "calendar, its runs and their parts. The service log has the details.",
            machine=machine.machine,
        )
        return text

    each(rows.machines.values(), lay, fail)
    left_out = left_out.with_machines(failed)
    for machine_id in left_out.machines:
        # a machine whose record is at fault is open; one that failed keeps its hours
        calendar_id = rows.machines[machine_id].calendar_id if machine_id in failed else None
        found[machine_id] = unknown_machine(rows.machines[machine_id], *hours.of(calendar_id))
    machines = {machine_id: found[machine_id] for machine_id in rows.machines}
    return ShopNow(
        now=now,
        rows=rows,
        cutting=cutting,
        machines=machines,
        bench=hours.bench,
        left_out=left_out,
        to_put_right=tuple(told for one in machines.values() for told in one.to_put_right),
    )


def _readings_lost(readings: int) -> str:
    return sentence(
        "Counter readings that cannot be read: {readings}. Parts may be missing until the next "
        "count. Run crib check, then restore a backup.",
        readings=readings,
    )


def with_tools(shop: ShopNow, only: frozenset[int] | None = None) -> ShopNow:
    """The shop with the stays of its tools worked out, but for those left out.

    Args:
        shop: The machines; not changed.
        only: Assemblies to work out, all others are unknown too; None for all.
    """
    lost = {
        row.assembly_id
        for row in shop.rows.stays
        if (station := shop.rows.stations.get(row.station_id)) is not None
        and station.machine_id in shop.left_out.machines
    } | shop.left_out.tools.keys()
    known: list[StayRow] = []
    unknown: list[StayRow] = []
    for row in shop.rows.stays:
        wanted = row.assembly_id not in lost and (only is None or row.assembly_id in only)
        (known if wanted else unknown).append(row)
    rows = replace(shop.rows, stays=known)
    found = replace(shop, rows=rows, unknown=unknown, estimates=())
    return replace(found, stays=found.work_out(known))


def ending(reason: str | None, flank_wear_tenths_um: int | None, limit_mm: float | None) -> int:
    """What the end of a stay says of the edge's life.

    An edge taken out as planned was still good, unless its measured land says otherwise.
    """
    if reason is None:
        return CENSORED
    said = ENDINGS.get(reason, WORN)
    land_mm = (flank_wear_tenths_um or 0) / TENTHS_UM_PER_MM
    if said == CENSORED and reason not in STAYS_BUILT and limit_mm and land_mm >= limit_mm:
        return WORN
    return said
