"""Stations that a run needs a tool in and that have none: what goes in, and by when."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Set
from dataclasses import dataclass
from datetime import datetime
from typing import Final, NamedTuple

from crib.clock import instant_from_us
from crib.left_out import each
from crib.outlook.cuts_ahead import CutAhead, cut_ahead
from crib.outlook.mounted_edges import swap_costs
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Key
from crib.outlook.to_put_right import NO_STATION, ToPutRight
from crib.planning.ahead import NEVER_US
from crib.planning.due import MountedEdge
from crib.sentence import sentence
from crib.store.machine_rows import StayRow
from crib.store.shop_records import RunOfShop

#: Why a tool is due in a station that has none.
EMPTY: Final = "station_empty"

#: Ids of stations by path and tool number.
_Numbers = dict[tuple[int, int], list[int]]

_NOTHING_KNOWN: Final = CutAhead(None, 0.0, "", ())


@dataclass(frozen=True, slots=True)
class Vacancy:
    """A station without a tool that a run needs one in.

    Attributes:
        station_id: The station.
        tool_spec_id: What the run's part wants there.
        part: The part.
        running: Whether the run is on: the machine cannot go on without the tool.
        at: When the tool is needed: now, or when the run is expected to begin.
        cut: What the runs ahead take from it; its key is None where nothing is known.
        costs: Of a planned swap and of a failure.
        since: Since when the running job has lacked the tool; None for a job ahead.
    """

    station_id: int
    tool_spec_id: int
    part: str
    running: bool
    at: datetime
    cut: CutAhead
    costs: tuple[float, float]
    since: datetime | None = None

    @property
    def sentence(self) -> str:
        """Why a tool is due there, and what to do."""
        if self.running:
            return sentence(
                "Empty while {part} runs. Mount a tool before the machine goes on.",
                part=self.part,
            )
        return sentence(
            "Empty, and {part} needs a tool here. Mount it before the run starts.",
            part=self.part,
        )

    def edge(self, machine: int, keys: dict[Key, int]) -> MountedEdge | None:
        """The new edge that will cut there, as the planner takes it; None where not known."""
        number = keys.get(self.cut.key) if self.cut.key else None
        if number is None:
            return None
        wear = self.cut.per_part
        return MountedEdge(self.station_id, machine, number, 0.0, wear, *self.costs)


class _Place(NamedTuple):
    """A station without a tool, and the first run that needs one there."""

    machine_id: int
    station_id: int
    tool_spec_id: int
    part: str
    running: bool
    at: datetime


class Vacancies(NamedTuple):
    """Stations that a run ahead needs a tool in and that have none.

    Attributes:
        stations: Those.
        to_put_right: Tool numbers that no station carries.
        failed: A sentence for each station whose need could not be worked out.
    """

    stations: list[Vacancy]
    to_put_right: list[ToPutRight]
    failed: list[str]


def vacancies_of(shop: ShopNow) -> Vacancies:
    """Every station that a run ahead needs a tool in and that has none.

    A run whose parts are made needs none, even if not yet set to done. Where several
    stations carry a tool number, one tool is enough. A tool number that no station
    carries is to be put right: no list can hold that tool.
    """
    found: list[Vacancy] = []
    numbers: dict[int, _Numbers] = defaultdict(lambda: defaultdict(list))
    for station in shop.rows.stations.values():
        numbers[station.machine_id][station.path or 1, station.tool_number].append(station.id)
    taken = {row.station_id for row in open_stays(shop)}
    missing: list[ToPutRight] = []
    places = [
        place
        for machine_id in shop.rows.machines
        if machine_id not in shop.left_out.machines
        for place in _of_machine(shop, machine_id, numbers[machine_id], taken, missing)
    ]
    failed = each(
        places,
        lambda place: found.append(_vacancy(shop, place)),
        lambda place: sentence(
            "What the empty station {station} of machine {machine} needs could not "
            "be worked out. Check the tool specs and items of the part that runs.",
            station=shop.rows.stations[place.station_id].station,
            machine=shop.rows.machines[place.machine_id].machine,
        ),
    )
    return Vacancies(found, missing, failed)


def open_stays(shop: ShopNow) -> Iterator[StayRow]:
    """Stays of what is mounted now, those whose wear is not known among them."""
    return (row for row in (*shop.rows.stays, *shop.unknown) if row.end_us is None)


def _of_machine(
    shop: ShopNow,
    machine_id: int,
    places: _Numbers,
    taken: Set[int],
    missing: list[ToPutRight],
) -> Iterator[_Place]:
    told: set[int | tuple[int, int]] = set()
    for run, running, at in runs_by_need(shop, machine_id):
        if at is None:
            continue
        for tool_number, path, spec_id in shop.cutting.tools_of(run.part_id):
            ids = places.get((path, tool_number), [])
            if not ids and (path, tool_number) not in told:
                told.add((path, tool_number))
                missing.append(_no_station(shop, machine_id, run.part, path, tool_number))
            if ids and ids[0] not in told and not any(one in taken for one in ids):
                told.add(ids[0])
                yield _Place(machine_id, ids[0], spec_id, run.part, running, at)


def _no_station(
    shop: ShopNow, machine_id: int, part: str, path: int, tool_number: int
) -> ToPutRight:
    machine = shop.rows.machines[machine_id].machine
    text = sentence(
        "Machine {machine} has no station with tool number {tool_number} on path "
        "{path}, which part {part} needs: no list shows that tool. Add the station, "
        "or correct the number in the part's operations.",
        machine=machine,
        tool_number=tool_number,
        path=path,
        part=part,
    )
    return ToPutRight(NO_STATION, machine, text)


def runs_by_need(
    shop: ShopNow, machine_id: int
) -> Iterator[tuple[RunOfShop, bool, datetime | None]]:
    """Every run ahead, whether it is on, and when it needs its tools.

    A run whose parts are made needs none: None.
    """
    machine = shop.machines[machine_id]
    ahead, rest = machine.ahead, machine.rest
    begins: dict[int, float] = {}
    for (place, _), begin_s in zip(ahead.segments.steps, ahead.segments.points_s, strict=False):
        begins.setdefault(place, begin_s)
    for number, run in enumerate(machine.runs_ahead):
        at: datetime | None = None
        runs = number == 0 and machine.running is not None
        if runs:
            at = None if rest is not None and rest.is_counted else shop.now
        elif number in begins:
            at_us = ahead.time.clock_at(begins[number])
            at = None if at_us == NEVER_US else max(instant_from_us(at_us), shop.now)
        yield run, runs, at


def _vacancy(shop: ShopNow, place: _Place) -> Vacancy:
    spec = shop.rows.specs[place.tool_spec_id]
    wanted = shop.rows.spec_items.get(spec.id, ())[:1]
    item = next((one for one in shop.rows.items.values() if one.cutting_item in wanted), None)
    cut, costs = _NOTHING_KNOWN, (0.0, 0.0)
    if item is not None:
        costs = swap_costs(spec, item)
        part_ids = shop.machines[place.machine_id].ahead_parts
        known = cut_ahead(shop, part_ids, place.station_id, spec.id, item.id)
        if all(math.isfinite(one) and one >= 0 for one in (*known.per_part, known.spread)):
            cut = known
    return Vacancy(
        place.station_id,
        spec.id,
        place.part,
        place.running,
        place.at,
        cut,
        costs,
        _lacking_since(shop, place) if place.running else None,
    )


def _lacking_since(shop: ShopNow, place: _Place) -> datetime | None:
    """When the job on a machine began, or its tool was taken out, whichever came last."""
    running = shop.machines[place.machine_id].runs_ahead[0]
    emptied = (
        row.end_us
        for row in shop.rows.stays
        if row.station_id == place.station_id and row.end_us is not None
    )
    since = max((at for at in (running.start_at, *emptied) if at is not None), default=None)
    return None if since is None else instant_from_us(since)
