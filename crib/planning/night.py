"""Whether each machine lives through its next unattended stretch, and what would make it so."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crib.life.model import LifeModel
from crib.planning.due import EdgesDue, MachineAhead, MountedEdge
from crib.planning.swaps import StationPlan, Swap

Floats = NDArray[np.float64]

#: Chance of a failure that a machine may run with through an unattended stretch.
NIGHT_LIMIT = 0.02

#: Share of the limit that a swap has to take off the night's chance to be worth a stop.
LEAST_GAIN = 0.05

#: Where no swaps keep the limit, only those are worth a stop that take off half of their own
#: edge's chance: a nearly new edge is not changed for another new one.
MOST_LEFT = 0.5


@dataclass(frozen=True, slots=True)
class MachineNight:
    """One machine's next unattended stretch.

    Attributes:
        machine: Its name.
        begin_us: Begin [µs].
        end_us: End [µs].
        as_planned: Chance that an edge fails in it with the swaps planned anyway.
        with_swaps: The same after the swaps that this rule adds.
        added: Stations whose swap it brought forward.
        limit: Chance that was asked for.
    """

    machine: str
    begin_us: int
    end_us: int
    as_planned: float
    with_swaps: float
    added: tuple[int, ...]
    limit: float

    @property
    def safe(self) -> bool:
        """Whether the limit is kept once the added swaps are made."""
        return self.with_swaps <= self.limit


def keep_the_night(
    machines: Sequence[MachineAhead],
    edges: Sequence[MountedEdge],
    due: EdgesDue,
    plans: Sequence[StationPlan],
    model: LifeModel,
    limit: float = NIGHT_LIMIT,
) -> tuple[list[StationPlan], list[MachineNight]]:
    """Bring swaps forward, cheapest first, until each machine's stretch is under the limit.

    Where the limit cannot be kept, the swaps remain that help much (``MOST_LEFT``).

    The chance of a machine is one minus the product of its edges' chances to live (they fail
    independently). What a swap gives away is the share of the planned cost that the edge
    could still have earned.

    Returns:
        The plans with added swaps, and one row per machine that has an unattended stretch.
    """
    if not edges:
        return list(plans), []
    begin, end = due.dark_s[:, 0], due.dark_s[:, 1]
    has = np.isfinite(begin)
    swap_s = np.array([plan.first.seconds for plan in plans])
    swapped = has & (swap_s <= np.where(has, begin, 0.0)) & (begin > 0)
    worn = np.array(
        [
            (line.at(min(swap, dark)), line.at(dark), line.at(light)) if known else (0.0,) * 3
            for line, known, swap, dark, light in zip(
                due.lines,
                has.tolist(),
                swap_s.tolist(),
                begin.tolist(),
                end.tolist(),
                strict=True,
            )
        ]
    )
    key = np.array([e.key for e in edges])
    age = np.array([e.age for e in edges])
    rate = np.where(due.wear_now > 0, due.wear_now, 1e-4)
    night = worn[:, 2] - worn[:, 1]
    kept = model.fail_probability(
        key, np.where(swapped, worn[:, 1] - worn[:, 0], age + worn[:, 1]), night, rate
    )
    fresh = model.fail_probability(key, np.zeros(len(edges)), night, rate)
    rows_of: dict[int, list[int]] = defaultdict(list)
    for row, edge in enumerate(edges):
        if has[row]:
            rows_of[edge.machine].append(row)
    changed = list(plans)
    nights = []
    for index, rows in sorted(rows_of.items()):
        nights.append(
            _one_machine(
                machines[index], rows, edges, age, worn, swapped, kept, fresh, changed, limit
            )
        )
    return changed, nights


def _one_machine(
    machine: MachineAhead,
    rows: Sequence[int],
    edges: Sequence[MountedEdge],
    age: Floats,
    worn: Floats,
    swapped: NDArray[np.bool_],
    kept: Floats,
    fresh: Floats,
    plans: list[StationPlan],
    limit: float,
) -> MachineNight:
    stretch = machine.time.next_unattended() or (0.0, 0.0)
    risk = {row: float(kept[row]) for row in rows}
    before = _any_fails(risk.values())
    added: list[int] = []
    candidates = [
        row
        for row in rows
        if not swapped[row] and stretch[0] > 0 and kept[row] - fresh[row] > limit * LEAST_GAIN
    ]
    # cheapest first: value given away per bit of risk taken off
    candidates.sort(
        key=lambda row: float(
            _given_away(plans[row], edges[row], age[row] + worn[row, 1])
            / max(np.log1p(-fresh[row]) - np.log1p(-min(float(kept[row]), 1 - 1e-12)), 1e-12)
        )
    )
    for row in candidates:
        now = _any_fails(risk.values())
        if now <= limit:
            break
        risk[row] = float(fresh[row])
        added.append(row)
    # a swap that the limit is kept without is taken back, the dearest first
    for row in reversed(list(added)):
        trial = {**risk, row: float(kept[row])}
        if _any_fails(trial.values()) <= limit:
            risk = trial
            added.remove(row)
    if _any_fails(risk.values()) > limit:
        added = [row for row in added if fresh[row] <= kept[row] * MOST_LEFT]
        risk = {row: float(fresh[row] if row in added else kept[row]) for row in rows}
    after = _any_fails(risk.values())
    for row in added:
        plans[row] = _brought_forward(machine, plans[row], stretch[0], before, after, limit,
                                      float(kept[row]), age[row] + worn[row, 1])  # fmt: skip
    clock = machine.time.clock_us([stretch[0], stretch[1]])
    begin_us = int(machine.time.begin_us[np.flatnonzero(~machine.time.attended)[0]])
    return MachineNight(
        machine.machine,
        begin_us,
        int(clock[1]),
        before,
        after,
        tuple(edges[row].station_id for row in added),
        limit,
    )


def _any_fails(risks: Iterable[float]) -> float:
    chances = np.minimum(np.fromiter(risks, dtype=np.float64), 1 - 1e-15)
    return float(1.0 - np.exp(np.log1p(-chances).sum()))


def _given_away(plan: StationPlan, edge: MountedEdge, age_then: float) -> float:
    left = max(plan.swap_age - age_then, 0.0) / max(plan.swap_age, 1e-9)
    return edge.planned_cost * (0.05 + left)


def _brought_forward(
    machine: MachineAhead,
    plan: StationPlan,
    seconds: float,
    before: float,
    after: float,
    limit: float,
    own: float,
    age: float,
) -> StationPlan:
    if after <= limit:
        end = f"with the swaps listed {after:.1%}, under the limit of {limit:.0%}"
    else:
        end = (
            f"with every swap that helps much {after:.1%}, still over the limit of {limit:.0%}"
        )
    swap = Swap(
        seconds,
        "unattended_stretch",
        f"The machine would meet a failure in the unattended stretch with {before:.1%}, this "
        f"edge alone with {own:.1%}; {end}.",
        age,
    )
    return replace(plan, first=swap, parts=float(machine.segments.parts_at(seconds)))
