"""What a browser at a machine keeps ahead, so that it works in a dead spot.

Every verdict is the one that a mount would get now: nothing is worked out in the browser.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from crib.acts.expected_tool import runs_that_count
from crib.acts.mount_ahead import MountAhead, check_resolved
from crib.acts.named import NamedAssembly, named_assembly
from crib.outlook.shop_plan import ShopPlan
from crib.planning.shelf import WaitingAssembly
from crib.store.assemblies import labels_of
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name
from crib.store.stations import StationRow, expected_specs, stations_of
from crib.store.stockrows import HolderRow, holder_row, spec_row
from crib.views.show_mount import MountShown, mount_in_station

#: Most tools listed for one station, the last measured first: what lies in a rack for one
#: station is far less (common practice, no source).
MOST_TOOLS = 12


@dataclass(frozen=True, slots=True)
class KnownStation:
    """A station and what it holds.

    Attributes:
        row: The station.
        specs: Tool specs that the run on the machine, or the next one, expects there.
        stay: What is in it, with what the control holds.
    """

    row: StationRow
    specs: tuple[str, ...]
    stay: MountShown | None


@dataclass(frozen=True, slots=True)
class KnownTool:
    """A tool that may come to the machine, or sits in it.

    Attributes:
        code: Code of its label.
        void_codes: Codes of its earlier labels.
        tool_spec: What it was built to.
        holder: What it was built on.
        station: MACHINE/STATION where it sits.
        looks: The verdict per station that it could be meant for, by the station's code.
    """

    code: str
    void_codes: tuple[str, ...]
    tool_spec: str
    holder: HolderRow
    station: str | None
    looks: dict[str, MountAhead]


@dataclass(frozen=True, slots=True)
class KnownAtMachine:
    """What is known at a machine at the plan's instant."""

    machine: str
    stations: tuple[KnownStation, ...]
    tools: tuple[KnownTool, ...]


def known_at_machine(tx: Tx, plan: ShopPlan, name: str) -> KnownAtMachine:
    """Stations of a machine, and the tools that may go into them.

    Args:
        tx: An open transaction.
        plan: The shop's forecast.
        name: Name of the machine.

    Raises:
        NotKnown: There is no such machine.
    """
    rows = stations_of(tx, machine_id_by_name(tx, name))
    specs = {row.id: _wanted(tx, plan, row) for row in rows}
    stations = tuple(
        KnownStation(row, specs[row.id], mount_in_station(tx, row.id)) for row in rows
    )
    meant: dict[str, list[StationRow]] = defaultdict(list)
    for row, code in _candidates(tx, plan, rows, specs):
        meant[code].append(row)
    for station in stations:
        if station.stay is not None:
            meant.setdefault(station.stay.assembly.code, [])
    tools = tuple(_tool(tx, plan, code, places) for code, places in meant.items())
    return KnownAtMachine(rows[0].machine if rows else name, stations, tools)


def _wanted(tx: Tx, plan: ShopPlan, row: StationRow) -> tuple[str, ...]:
    """Specs expected in a station by the run, else by the next one."""
    for run in runs_that_count(tx, row.machine_id, plan.shop.now):
        found = expected_specs(tx, run.part_id, row.tool_number, row.path)
        if found:
            return tuple(one.tool_spec for one in found)
    return ()


def _candidates(
    tx: Tx,
    plan: ShopPlan,
    rows: Sequence[StationRow],
    specs: dict[int, tuple[str, ...]],
) -> Iterator[tuple[StationRow, str]]:
    """Each station with the codes of the tools that may be meant for it."""
    shelf = plan.shelf
    waiting: dict[str, list[WaitingAssembly]] = defaultdict(list)
    for one in (*_newest(shelf.ready), *shelf.unmeasured):
        waiting[one.tool_spec].append(one)
    runs = bool(rows) and bool(runs_that_count(tx, rows[0].machine_id, plan.shop.now))
    for row in rows:
        wanted = specs[row.id] if runs else _fitting(tx, row, waiting)
        for spec in wanted:
            for one in waiting[spec][:MOST_TOOLS]:
                yield row, one.code


def _newest(ready: Sequence[WaitingAssembly]) -> list[WaitingAssembly]:
    return sorted(
        ready,
        key=lambda one: one.measured_at.timestamp() if one.measured_at else 0,
        reverse=True,
    )


def _fitting(
    tx: Tx, row: StationRow, waiting: dict[str, list[WaitingAssembly]]
) -> tuple[str, ...]:
    """Without a run nothing is expected: specs whose holders go into the station."""
    found = []
    for spec in waiting:
        holder = holder_row(tx, named_assembly(tx, waiting[spec][0].code).row.holder_id)
        if (row.interface, row.kind) == (holder.interface, holder.kind):
            found.append(spec)
    return tuple(found)


def _tool(tx: Tx, plan: ShopPlan, code: str, places: Sequence[StationRow]) -> KnownTool:
    named = named_assembly(tx, code)
    labels = labels_of(tx, named.row.id)
    now = plan.shop.now
    return KnownTool(
        code=named.row.code,
        void_codes=tuple(label.code for label in labels if label.code != named.row.code),
        tool_spec=spec_row(tx, named.row.tool_spec_id).tool_spec,
        holder=holder_row(tx, named.row.holder_id),
        station=named.row.station,
        looks={
            row.code: check_resolved(tx, now, row, NamedAssembly(named.row, None, True))
            for row in places
        },
    )
