"""What stays in a station took from an edge: parts, minutes in cut, share of its life."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from crib.clock import us_from_instant
from crib.planning.output import NO_RUN, MachineOutput, output_of_runs, run_windows
from crib.planning.part_wear import PartWear, part_wear
from crib.store.assemblies import AssemblyRow
from crib.store.breakage_rows import breakages_of
from crib.store.cutting_rows import (
    constants_for,
    item_of_lot,
    material_group,
    operations_of,
)
from crib.store.engine import Tx
from crib.store.mounts import MountRow
from crib.store.path_counts import charges_around
from crib.store.stations import RunRow, StationRow, runs_of, station_row
from crib.store.stockrows import SpecRow, spec_row


@dataclass(frozen=True, slots=True)
class StayWear:
    """What one or more stays took from an edge.

    Attributes:
        parts: Whole parts that the counter of its path counted meanwhile.
        engaged_min: Minutes in cut; None where no operation gives a time.
        life_share: Wear, 1.0 is the life that ``basis`` promises; None where nothing is
            known about it.
        basis: ``tool_life``, ``life_parts`` or ``starter``, of the last part made; empty.
    """

    parts: int
    engaged_min: float | None
    life_share: float | None
    basis: str

    def __add__(self, other: StayWear) -> StayWear:
        """Both together; damage adds up linearly."""
        return StayWear(
            self.parts + other.parts,
            _sum(self.engaged_min, other.engaged_min),
            _sum(self.life_share, other.life_share),
            other.basis or self.basis,
        )


NOTHING = StayWear(0, None, None, "")


def _sum(one: float | None, other: float | None) -> float | None:
    return one if other is None else other if one is None else one + other


def wear_of_stays(
    tx: Tx, assembly: AssemblyRow, stays: Sequence[MountRow], until: datetime
) -> tuple[StayWear, ...]:
    """What each stay of an assembly took from its edge.

    Parts between two readings are spread evenly over the time, so the parts of stays that
    follow each other add up to what the machine counted.

    Args:
        tx: An open transaction.
        assembly: Whose stays they are.
        stays: Its stays.
        until: End of a stay that still lasts.
    """
    spec = spec_row(tx, assembly.tool_spec_id)
    broken = breakages_of(tx, [stay.id for stay in stays])
    found = []
    for stay in stays:
        end = stay.removed_at or until
        if stay.id in broken:
            end = min(end, broken[stay.id].at)  # a broken edge cuts no more
        found.append(wear_of_stay(tx, spec, assembly.lot_id, stay.station_id, stay.at, end))
    return tuple(found)


def wear_of_stay(
    tx: Tx, spec: SpecRow, lot_id: int, station_id: int, begin: datetime, end: datetime
) -> StayWear:
    """What one stay took from an edge of a lot built to a spec."""
    station = station_row(tx, station_id)
    runs = [
        run
        for run in runs_of(tx, station.machine_id)
        if run.state != "planned" and (run.start_at is None or run.start_at <= end)
    ]
    begin_us, end_us = us_from_instant(begin), us_from_instant(end)
    output = _output(tx, station, runs, begin_us, end_us)
    used = _runs_used(output, begin_us, end_us)
    takes = [
        _per_part(tx, station, run, spec, lot_id) if index in used else None
        for index, run in enumerate(runs)
    ]
    span = np.array([begin_us]), np.array([end_us])
    wear = np.array([take.wear if take else 0.0 for take in takes])
    minutes = np.array([(take.engaged_min or 0.0) if take else 0.0 for take in takes])
    parts = int((output.total_at(span[1]) - output.total_at(span[0]))[0])
    known = [takes[run] for run in used if run != NO_RUN and takes[run] is not None]
    last = known[-1] if known else None
    timed = any(take is not None and take.engaged_min is not None for take in known)
    return StayWear(
        parts,
        float(output.used(minutes, *span)[0]) if timed else None,
        float(output.used(wear, *span)[0]) if last else None,
        last.basis if last else "",
    )


def _runs_used(output: MachineOutput, begin_us: int, end_us: int) -> list[int]:
    """Runs whose parts were made between two instants, in order of time."""
    inside = output.run[(output.at_us > begin_us)]
    times = output.at_us[(output.at_us > begin_us)]
    # the first point past the end still closes an increment that began before it
    cut = int(np.searchsorted(times, end_us, side="left")) + 1
    return list(dict.fromkeys(int(run) for run in inside[:cut]))


def _output(
    tx: Tx, station: StationRow, runs: Sequence[RunRow], begin_us: int, end_us: int
) -> MachineOutput:
    path = station.path or 1
    readings = charges_around(tx, station.machine_id, path, begin_us, end_us)
    latest = max(end_us, int(readings.at_us[-1]) if readings.at_us.size else end_us)
    windows = run_windows(
        [us_from_instant(run.start_at) if run.start_at else 0 for run in runs],
        [us_from_instant(run.end_at) if run.end_at else None for run in runs],
        latest,
    )
    return output_of_runs(*readings, [run.id for run in runs], windows)


def _per_part(
    tx: Tx, station: StationRow, run: RunRow, spec: SpecRow, lot_id: int
) -> PartWear | None:
    item = item_of_lot(tx, lot_id)
    group = material_group(tx, run.part_id)
    constants, source = constants_for(tx, item, group)
    return part_wear(
        operations_of(tx, run.part_id, station.tool_number, station.path),
        {
            "machine": station.spindle_max_rpm,
            "station": station.max_rpm,
            "holder": spec.holder_max_rpm,
            "tool": spec.max_rpm,
        },
        constants=constants,
        constants_source=source,
        life_parts=spec.life_parts,
        tool_material=item.tool_material,
        material_group=group,
    )
