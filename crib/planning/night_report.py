"""The report of every unattended stretch: its chances, its edges, and the swaps added."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crib.arrays import Floats, Ints
from crib.planning.due import MachineAhead, MountedEdge
from crib.planning.found_swaps import NightSeen
from crib.planning.night import MachineNight, NightEdges
from crib.planning.night_begun import NightBegun
from crib.planning.night_words import money, percent
from crib.planning.succession import POINTS, Succession
from crib.sentence import sentence


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
        stays, swapped = _curves(walk, night)
        for index in np.flatnonzero(
            np.isfinite(night.begin_s) & (np.diff(bounds) > 0)
        ).tolist():
            members = order[bounds[index] : bounds[index + 1]]
            added = members[night.choice.swap[members]]
            begin, end = float(night.begin_s[index]), float(night.end_s[index])
            machine = machines[index]
            stretch = int(np.searchsorted(machine.time.begin_s, begin, side="right")) - 1
            over = walk.begun.of_machine[index] if begin <= 0 else None
            row = MachineNight(
                machine=machine.machine,
                begin_us=over.begin_us if over else int(machine.time.begin_us[stretch]),
                end_us=machine.time.clock_at(end),
                as_it_stands=float(-np.expm1(-night.stays[members].sum())),
                as_planned=float(night.choice.before[index]),
                with_swaps=float(night.choice.after[index]),
                floor=float(night.choice.floor[index]),
                breakage=float(-np.expm1(-night.breaks[members].sum())),
                added=tuple(stations[added].tolist()),
                limit=walk.limits[index],
                ordinal=ordinal,
                scale=walk.scale,
                begun=begin <= 0,
                over=over,
                edges=NightEdges(
                    machine,
                    stations[members],
                    begin + np.linspace(0.0, 1.0, POINTS + 1) * (end - begin),
                    stays[members],
                    swapped[members],
                    night.swaps[members],
                    walk.weight[members],
                    _spent(walk, members, over) if over else None,
                ),
            )
            rows.append(row)
            for edge in added.tolist():
                own = float(-np.expm1(-night.own[edge]))
                told[edge, begin] = _sentence(row, own)
    return rows, told


def _curves(walk: Succession, night: NightSeen) -> tuple[Floats, Floats]:
    """Cumulative hazard of every edge up to points of the stretch, unswapped and swapped.

    Of a stretch in progress the points lie between now and its end, and what is over counts.

    Between begin and end it is only worked out where somebody may have to stop the machine
    early, or it would take most of a plan's time; elsewhere it is a straight line.
    """
    shares = np.linspace(0.0, 1.0, POINTS + 1)
    spent = night.spent[:, None]
    stays = spent + (night.stays[:, None] - spent) * shares
    swapped = spent + (night.hazard[:, None] - spent) * shares
    total = np.zeros(len(night.begin_s))
    np.add.at(total, walk.machine, walk.weight * night.stays)
    over = np.isfinite(night.begin_s) & (total > walk.allowed)
    rows = np.flatnonzero(over[walk.machine])
    if rows.size:
        times = night.begin_s, night.end_s
        left = night.left.signs.take(rows)
        stays[rows] = spent[rows] + walk.curve(rows, night.stays_age[rows], *times, left)
        swapped[rows] = stays[rows]
        due = rows[night.swaps[rows] > 0]
        signs = night.signs.take(due)
        swapped[due] = spent[due] + walk.curve(due, night.age[due], *times, signs)
    return stays, swapped


def _spent(walk: Succession, rows: Ints, over: NightBegun) -> Floats:
    """Cumulative hazard of edges at instants of what is over, shape (rows, points)."""
    points = len(over.share)
    worn = np.multiply.outer(walk.begun.worn[rows], over.share)
    return walk.spent_by(np.repeat(rows, points), worn.reshape(-1)).reshape(-1, points)


def _sentence(row: MachineNight, own: float) -> str:
    """Why the rule brings one swap forward."""
    if row.limit.loss_minor is not None:
        return _sentence_of_loss(row, row.limit.loss_minor, own)
    values: dict[str, object] = {
        "as_planned": percent(row.as_planned),
        "with_swaps": percent(row.with_swaps),
        "limit": percent(row.limit.chance),
        "own": percent(own),
    }
    if row.safe:
        return sentence(
            "Risk of a failure while nobody is there: {as_planned} as planned, {with_swaps} "
            "with the swaps listed, limit {limit}. This edge alone: {own}.",
            **values,
        )
    return sentence(
        "Risk of a failure while nobody is there: {as_planned} as planned, {with_swaps} even "
        "after swaps, limit {limit}. This edge alone: {own}.",
        **values,
    )


def _sentence_of_loss(row: MachineNight, limit_minor: float, own: float) -> str:
    values: dict[str, object] = {"limit": money(limit_minor), "own": percent(own)}
    if row.safe:
        return sentence(
            "Without this swap the expected loss while nobody is there is over your limit, "
            "{limit}. Risk of this edge alone: {own}.",
            **values,
        )
    return sentence(
        "The expected loss while nobody is there stays over your limit, {limit}, even after "
        "swaps. Risk of this edge alone: {own}.",
        **values,
    )
