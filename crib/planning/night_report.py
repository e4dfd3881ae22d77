"""What is said of every unattended stretch: chances, swaps added, and until when to run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from crib.planning.due import MachineAhead, MountedEdge
from crib.planning.found_swaps import NightSeen
from crib.planning.night import MachineNight, carriers_of
from crib.planning.succession import Succession
from crib.sentence import figure, sentence

#: Parts of a stretch within which the hazard is taken as a straight line.
POINTS = 12


def report_nights(
    machines: Sequence[MachineAhead], edges: Sequence[MountedEdge], walk: Succession
) -> tuple[list[MachineNight], dict[tuple[int, float], str]]:
    """One row per machine and stretch, the next stretches first.

    Returns:
        The rows, and a sentence for every swap that the rule added, by edge and second.
    """
    rows: list[MachineNight] = []
    told: dict[tuple[int, float], str] = {}
    order = np.argsort(walk.machine, kind="stable")
    bounds = np.searchsorted(walk.machine[order], np.arange(len(machines) + 1))
    stations = np.array([edge.station_id for edge in edges], dtype=np.int64)
    for ordinal, night in enumerate(walk.nights):
        stop_s = _stop_by(walk, night) if ordinal == 0 else {}
        for index in np.flatnonzero(
            np.isfinite(night.begin_s) & (np.diff(bounds) > 0)
        ).tolist():
            members = order[bounds[index] : bounds[index + 1]]
            added = members[night.choice.swap[members]]
            row = _row(machines[index], ordinal, night, index, walk.limit)
            row = replace(row, scale=walk.scale)
            row = replace(
                row,
                breakage=float(-np.expm1(-night.breaks[members].sum())),
                added=tuple(stations[added].tolist()),
                carriers=carriers_of(stations[members].tolist(), night.hazard[members]),
                left_out=int(night.choice.left_out[members].sum()),
            )
            if index in stop_s:
                row = _stopped(row, machines[index], float(night.begin_s[index]), stop_s[index])
            rows.append(row)
            for edge in added.tolist():
                own = float(-np.expm1(-night.own[edge]))
                told[edge, float(night.begin_s[index])] = _sentence(row, own)
    return rows, told


def _row(
    machine: MachineAhead, ordinal: int, night: NightSeen, index: int, limit: float
) -> MachineNight:
    begin, end = float(night.begin_s[index]), float(night.end_s[index])
    stretch = int(np.searchsorted(machine.time.begin_s, begin, side="right")) - 1
    return MachineNight(
        machine=machine.machine,
        begin_us=int(machine.time.begin_us[stretch]),
        end_us=machine.time.clock_at(end),
        as_planned=float(night.choice.before[index]),
        with_swaps=float(night.choice.after[index]),
        floor=float(night.choice.floor[index]),
        breakage=0.0,
        added=(),
        limit=limit,
        ordinal=ordinal,
        begun=begin <= 0,
    )


def _stop_by(walk: Succession, night: NightSeen) -> dict[int, float]:
    """Running second at which a machine's chance reaches the limit, where it is not kept.

    But for edges that stop being young in between, the hazard bends upwards between the
    points, so the straight line lies above it: the second found is a little early.
    """
    unsafe = np.isfinite(night.begin_s) & (night.choice.after > walk.limit)
    rows = np.flatnonzero(unsafe[walk.machine])
    if not rows.size:
        return {}
    machine = walk.machine[rows]
    begin, end = night.begin_s[machine], night.end_s[machine]
    worn = walk.lines.at(rows, begin)
    total = np.zeros((len(night.begin_s), POINTS + 1))
    seen = night.signs.take(rows)
    shares = np.linspace(0.0, 1.0, POINTS + 1)
    for point in range(1, POINTS + 1):
        ahead = walk.lines.at(rows, begin + shares[point] * (end - begin)) - worn
        ahead = np.maximum(ahead, 0.0)
        np.add.at(total[:, point], machine, walk.hazard(rows, night.age[rows], ahead, seen))
    allowed = -math.log1p(-walk.limit)
    found = {}
    for index in np.flatnonzero(unsafe).tolist():
        share = float(np.interp(allowed, total[index], shares))
        start, stop = float(night.begin_s[index]), float(night.end_s[index])
        found[index] = start + share * (stop - start)
    return found


def _stopped(
    row: MachineNight, machine: MachineAhead, begin_s: float, stop_s: float
) -> MachineNight:
    made = machine.segments.parts_at([begin_s, stop_s])
    return replace(
        row,
        run_until_us=max(machine.time.clock_at(stop_s), row.begin_us),
        run_until_parts=math.floor(made[1] - made[0]),
    )


def _sentence(row: MachineNight, own: float) -> str:
    """Why the rule brings one swap forward."""
    if row.safe:
        end = sentence(
            "with the swaps listed {with_swaps}, under the limit of {limit}",
            with_swaps=figure(row.with_swaps, ".1%"),
            limit=figure(row.limit, ".1%"),
        )
    else:
        end = sentence(
            "with every swap that helps much {with_swaps}, still over the limit of {limit}",
            with_swaps=figure(row.with_swaps, ".1%"),
            limit=figure(row.limit, ".1%"),
        )
    return sentence(
        "The machine's chance of a failure in the unattended stretch would be "
        "{as_planned}, this edge's alone {own}; {end}.",
        as_planned=figure(row.as_planned, ".1%"),
        own=figure(own, ".1%"),
        end=end,
    )
