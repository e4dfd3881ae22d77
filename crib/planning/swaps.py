"""When each mounted edge is to be swapped, why, and when its successors are.

Cost first (age replacement), then the size limit; what would fall into an unattended stretch
comes forward to before it; ``crib.planning.night`` adds what the night still needs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crib.life.model import LifeModel
from crib.planning.demand import WearAhead, parts_ahead
from crib.planning.due import EdgesDue, MachineAhead, MountedEdge

Floats = NDArray[np.float64]

#: Most successive swaps of one station that a list looks through.
MOST_SUCCESSORS = 60

_LEAST_STEP_S = 60.0


@dataclass(frozen=True, slots=True)
class Swap:
    """One planned swap of one station.

    Attributes:
        seconds: Running second from now; infinite where the plan ends before.
        why: ``past``, ``cost``, ``size_limit``, ``unattended_stretch`` or ``run_ends_first``.
        sentence: The same in words, with the figures.
        age: Wear of the edge when it comes out [wear units].
    """

    seconds: float
    why: str
    sentence: str
    age: float


@dataclass(frozen=True, slots=True)
class StationPlan:
    """The swaps of one station.

    Attributes:
        first: Swap of the edge that is mounted now.
        parts: Parts that it makes until then; infinite where no plan wears it.
        swap_age: Wear at which an edge like it costs least [wear units].
        failing_first: Share of like edges that fail before that age.
        successors: Later swaps of the same station within the horizon.
    """

    first: Swap
    parts: float
    swap_age: float
    failing_first: float
    successors: tuple[Swap, ...] = ()


def plan_stations(
    machines: Sequence[MachineAhead],
    edges: Sequence[MountedEdge],
    due: EdgesDue,
    model: LifeModel,
) -> list[StationPlan]:
    """The first swap of every station, before the night rule and without successors.

    Source: age replacement, Barlow & Proschan 1965, on the posterior of the life model.
    """
    if not edges:
        return []
    rate = np.where(due.wear_now > 0, due.wear_now, 1e-4)
    swap_age, _, failing = model.swap_age(
        np.array([e.key for e in edges]),
        np.array([e.planned_cost for e in edges]),
        np.array([e.failure_cost for e in edges]),
        rate,
    )
    made = [parts_ahead(machine.segments) for machine in machines]
    plans = []
    for edge, line, wear, age, share in zip(
        edges,
        due.lines,
        due.wear_now.tolist(),
        swap_age.tolist(),
        failing.tolist(),
        strict=True,
    ):
        first = _first_swap(machines[edge.machine], edge, line, wear, age, share)
        if math.isfinite(first.seconds):
            parts = made[edge.machine].at(first.seconds)
        else:
            parts = max(age - edge.age, 0.0) / wear if wear > 0 else math.inf
        plans.append(StationPlan(first, parts, age, share))
    return plans


def _first_swap(
    machine: MachineAhead,
    edge: MountedEdge,
    line: WearAhead,
    wear_now: float,
    swap_age: float,
    failing: float,
) -> Swap:
    if wear_now <= 0:
        return Swap(math.inf, "run_ends_first", "No run ahead uses this station.", edge.age)
    left = swap_age - edge.age
    if left <= 0:
        return Swap(
            0.0,
            "past",
            f"It has used {edge.age:.2f} of the promised life; {swap_age:.2f} was the age of "
            "least cost.",
            edge.age,
        )
    chosen = Swap(
        line.seconds_until(left),
        "cost",
        f"From {swap_age:.2f} of the promised life on, the risk costs more than a fresh edge "
        f"({failing:.0%} of such edges fail before).",
        swap_age,
    )
    if edge.size_parts_left is not None:
        size_wear = edge.size_parts_left * wear_now
        if size_wear < left:
            chosen = Swap(
                line.seconds_until(size_wear) if size_wear > 0 else 0.0,
                "size_limit",
                f"Size corrections so far put the wear limit about "
                f"{max(int(edge.size_parts_left), 0)} parts ahead.",
                edge.age + max(size_wear, 0.0),
            )
    if not math.isfinite(chosen.seconds):
        return replace(
            chosen,
            why="run_ends_first",
            sentence="The runs planned end before this edge has to go.",
        )
    return before_the_dark(machine, line, chosen, edge.age, 0.0)


def before_the_dark(
    machine: MachineAhead, line: WearAhead, swap: Swap, age: float, since: float
) -> Swap:
    """Bring a swap that nobody is there to make forward to the last attended moment.

    Args:
        machine: Its machine.
        line: Wear line of the station.
        swap: The swap as planned.
        age: Wear of the edge at ``since`` [wear units].
        since: Running second since which the edge is in.
    """
    seconds, moved = machine.time.last_attended(swap.seconds)
    if not moved:
        return swap
    if seconds <= since + _LEAST_STEP_S and seconds <= swap.seconds - _LEAST_STEP_S:
        end = machine.time.unattended_end(seconds)
        return Swap(
            end,
            "unattended_stretch",
            "It will not last the unattended stretch, however fresh: expect the machine to "
            "stand, or split the work.",
            swap.age,
        )
    worn = line.at(seconds) - line.at(since)
    return Swap(
        seconds,
        "unattended_stretch",
        "It would run out while nobody is there; swap it before.",
        age + worn,
    )


def with_successors(
    machine: MachineAhead, line: WearAhead, plan: StationPlan, horizon_s: float
) -> StationPlan:
    """Look through the horizon: each sister that comes in has a swap of its own.

    Args:
        machine: Its machine.
        line: Wear line of the station.
        plan: The station's plan with its first swap.
        horizon_s: Running second up to which to look.
    """
    successors: list[Swap] = []
    sentence = f"The one before it will have used {plan.swap_age:.2f} of its promised life."
    since = plan.first.seconds
    while since <= horizon_s and len(successors) < MOST_SUCCESSORS:
        worn = line.at(since)
        seconds = line.seconds_until(worn + plan.swap_age)
        if not math.isfinite(seconds) or seconds > horizon_s:
            break
        planned = Swap(seconds, "cost", sentence, plan.swap_age)
        swap = before_the_dark(machine, line, planned, 0.0, since)
        if swap.seconds <= since:
            break  # the stretch takes no swap and the plan does not go on
        if swap.seconds > horizon_s:
            break
        successors.append(swap)
        since = swap.seconds
    return replace(plan, successors=tuple(successors))
