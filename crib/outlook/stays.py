"""Every stay of an edge in a station with what it took, a machine at a time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.left_out import by_tool
from crib.outlook.cutting_data import CuttingData
from crib.outlook.machine_now import MachineNow
from crib.planning.output import MachineOutput, windows_of
from crib.planning.part_wear import PartWear
from crib.store.counts import Counted
from crib.store.machine_rows import StayRow
from crib.store.shop_records import ItemOfShop, RunOfShop, StationOfShop
from crib.store.shop_rows import ShopRows

#: Spread of ln(life) of a stay that no run wore.
_UNKNOWN_SPREAD = 0.8


class Key(NamedTuple):
    """What shares one life law: cutting item x material group x operation class."""

    cutting_item_id: int
    material_group: str
    operation_class: str

    def text(self, items: Mapping[int, ItemOfShop]) -> str:
        """The key as a name in addresses and lists."""
        item = items[self.cutting_item_id].cutting_item
        return f"{item}~{self.material_group}~{self.operation_class}"


class WornSums(NamedTuple):
    """Wear under the key's own group of material, and its sums along the cuts.

    Attributes:
        wear: Wear put on by parts of the key's group, as far as a curve gives it [wear units].
        ln_speed: Sum of wear times ln speed [m/min].
        ln_feed: Sum of wear times ln feed [mm/rev].
        ln_depth: Sum of wear times ln depth [mm].
        ln_speed_square: Sum of wear times the square of ln speed.
    """

    wear: float
    ln_speed: float
    ln_feed: float
    ln_depth: float
    ln_speed_square: float


@dataclass(frozen=True, slots=True)
class Stay:
    """One stay with what it took.

    Attributes:
        row: The facts.
        parts: Whole parts made in it.
        wear: Wear put on [wear units].
        engaged_min: Minutes in cut; None where no operation gives a time.
        key: Its key; None where nothing is known about the wear.
        spread: Prior standard deviation of ln(life) behind the wear.
        basis: Where the wear per part comes from.
        part_id: The last part that it cut; None where no run wore it.
        worn: At which cuts it was worn, for the estimate of constants; None also while the
            stay lasts, and where no curve gives the wear.
    """

    row: StayRow
    parts: int
    wear: float
    engaged_min: float | None
    key: Key | None
    spread: float
    basis: str
    part_id: int | None = None
    worn: WornSums | None = None


class _Cut(NamedTuple):
    """What a part takes from an edge in a station, and the key that it wears under."""

    key: Key
    take: PartWear
    part_id: int


def work_out_stays(
    rows: ShopRows,
    cutting: CuttingData,
    machines: Mapping[int, MachineNow],
    now_us: int,
) -> list[Stay]:
    """What every stay took.

    Args:
        rows: The facts.
        cutting: Wear per part of any station and part.
        machines: What each machine made, by id.
        now_us: End of the stays that still last [µs].

    Returns:
        One per row of ``rows.stays``, in its order; nothing is known of a stay in a station
        that was taken away since.
    """
    by_counter: dict[Counted, list[int]] = defaultdict(list)
    found: dict[int, Stay] = {}
    for place, row in enumerate(rows.stays):
        station = rows.stations.get(row.station_id)
        if station is None:
            found[place] = Stay(row, 0, 0.0, None, None, _UNKNOWN_SPREAD, "")
        else:
            by_counter[_counter_of(station, machines)].append(place)
    for (machine_id, path), places in by_counter.items():
        stays, one = [rows.stays[place] for place in places], machines[machine_id]
        output = one.of_paths[path] if path else one.output
        used = _on_one_machine(stays, rows, cutting, output, one.began, now_us)
        found.update(zip(places, used, strict=True))
    return [found[place] for place in range(len(rows.stays))]


def _counter_of(station: StationOfShop, machines: Mapping[int, MachineNow]) -> Counted:
    """The counter that charges the edges of a station; path 0 for the machine's parts."""
    own = station.path or 1
    has_own = own in machines[station.machine_id].of_paths
    return Counted(station.machine_id, own if has_own else 0)


def output_of_station(
    station: StationOfShop, machines: Mapping[int, MachineNow]
) -> MachineOutput:
    """The output that charges the edges of a station."""
    one = machines[station.machine_id]
    return one.of_paths.get(station.path or 1, one.output)


def _on_one_machine(
    stays: Sequence[StayRow],
    rows: ShopRows,
    cutting: CuttingData,
    output: MachineOutput,
    runs: Sequence[RunOfShop],
    now_us: int,
) -> list[Stay]:
    """The stays that one counter charges; a case is an item, built to a spec, in a station."""
    begin = np.array([row.begin_us for row in stays], dtype=np.int64)
    end = np.array(
        [now_us if row.worn_until_us is None else row.worn_until_us for row in stays],
        dtype=np.int64,
    )
    numbers: dict[tuple[int, int, int], int] = {}
    cases = []
    for row in stays:
        built = rows.assemblies[row.assembly_id]
        case = (row.station_id, built.tool_spec_id, built.cutting_item_id)
        cases.append(numbers.setdefault(case, len(numbers)))
    part_ids = list(dict.fromkeys(run.part_id for run in runs))
    cuts = by_tool(
        numbers,
        lambda case: [_cut(cutting, part_id, *case) for part_id in part_ids],
        lambda case: (
            row.assembly_id
            for row, number in zip(stays, cases, strict=True)
            if number == numbers[case]
        ),
    )
    part = np.array([part_ids.index(run.part_id) for run in runs], dtype=np.int64)
    case_of = np.array(cases, dtype=np.int64)

    def by_run(value: Callable[[PartWear], float]) -> Floats:
        table = [[value(cut.take) if cut else 0.0 for cut in row] for row in cuts]
        return np.array(table, dtype=np.float64).reshape(len(cuts), -1)[:, part]

    last = _last_run(by_run(lambda _: 1.0) > 0, case_of, begin, end, windows_of(runs, now_us))
    found = [
        cuts[case][part[run]] if run >= 0 else None
        for case, run in zip(cases, last.tolist(), strict=True)
    ]
    over = [cut if row.end_us else None for row, cut in zip(stays, found, strict=True)]
    worn = _worn(cuts, part, case_of, over, output, (begin, end))
    took = zip(
        stays,
        found,
        (output.total_at(end) - output.total_at(begin)).tolist(),
        output.used(by_run(lambda take: take.wear), begin, end, case_of).tolist(),
        output.used(by_run(lambda take: take.engaged_min or 0.0), begin, end, case_of).tolist(),
        worn,
        strict=True,
    )
    return by_tool(took, lambda one: _stay(*one), lambda one: (one[0].assembly_id,))


def _worn(
    cuts: Sequence[Sequence[_Cut | None]],
    part: Ints,
    case: Ints,
    found: Sequence[_Cut | None],
    output: MachineOutput,
    span: tuple[Ints, Ints],
) -> list[WornSums | None]:
    """Wear of each stay in its own group of material, summed along the cuts.

    Args:
        cuts: What each part takes in each case.
        part: Part of each run, shape (runs,).
        case: Case of each stay, shape (stays,).
        found: The cut behind the key of each stay, None where it is not asked for.
        output: The machine's.
        span: Begin and end of each stay, shape (stays,) [µs].
    """
    asked = [place for place, cut in enumerate(found) if cut and cut.take.worn_at]
    worn: list[WornSums | None] = [None] * len(found)
    if not asked:
        return worn
    numbers: dict[tuple[int, str], int] = {}
    pairs = []
    for place in asked:
        cut = found[place]
        group = cut.key.material_group if cut else ""
        pairs.append(numbers.setdefault((int(case[place]), group), len(numbers)))
    table = np.zeros((len(WornSums._fields), len(numbers), len(cuts[0])))
    for (case_number, group), row in numbers.items():
        for column, cut in enumerate(cuts[case_number]):
            if cut and cut.take.worn_at and cut.key.material_group == group:
                table[:, row, column] = cut.take.wear * np.array([1.0, *cut.take.worn_at])
    begin, end, pair_of = span[0][asked], span[1][asked], np.array(pairs, dtype=np.int64)
    sums = [output.used(values[:, part], begin, end, pair_of) for values in table]
    for place, row_sums in zip(asked, np.column_stack(sums).tolist(), strict=True):
        worn[place] = WornSums(*row_sums)
    return worn


def _cut(
    cutting: CuttingData, part_id: int, station_id: int, spec_id: int, item_id: int
) -> _Cut | None:
    take = cutting.per_part(station_id, part_id, spec_id, item_id)
    if take is None:
        return None
    key = Key(item_id, cutting.material_group(part_id), take.operation_class)
    return _Cut(key, take, part_id)


def _last_run(
    uses: Bools,
    case: Ints,
    begin: Ints,
    end: Ints,
    windows: tuple[Sequence[int], Sequence[int]],
) -> Ints:
    """The last run within each stay that uses its station; -1 where none does.

    Args:
        uses: Whether a run uses the station of a case, shape (cases, runs).
        case: Case of each stay, shape (stays,).
        begin: Begin of each stay, shape (stays,) [µs].
        end: End of each, same shape.
        windows: Begin and end of each run, both ascending, shape (runs,) [µs].
    """
    count = uses.shape[1]
    if not count:
        return np.full(len(case), -1, dtype=np.int64)
    first = np.searchsorted(windows[1], begin, side="left")
    last = np.searchsorted(windows[0], end, side="left") - 1
    using = np.maximum.accumulate(np.where(uses, np.arange(count), -1), axis=1)
    found = np.where(last >= 0, using[case, np.maximum(last, 0)], -1)
    return np.where(found >= first, found, -1)


def _stay(
    row: StayRow,
    cut: _Cut | None,
    parts: int,
    wear: float,
    minutes: float,
    worn: WornSums | None,
) -> Stay:
    if cut is None:
        return Stay(row, parts, wear, None, None, _UNKNOWN_SPREAD, "")
    take = cut.take
    engaged_min = None if take.engaged_min is None else minutes
    return Stay(
        row, parts, wear, engaged_min, cut.key, take.spread, take.basis, cut.part_id, worn
    )
