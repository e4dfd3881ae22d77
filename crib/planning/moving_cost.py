"""What it costs to swap an edge earlier or later than at its age of least cost.

Marginal analysis of age replacement (Barlow & Proschan, Mathematical Theory of Reliability,
1965; from memory): with g* the cost per unit of use at the best age, an edge kept from age y
to z costs ``integral_y^z (h (cf - cp) - g*) S`` more than one swapped at y, h the hazard and S
the survival; below 0 while the edge still earns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.model import LifeModel

#: Costs of swapping earlier and later are given for this share of a planned life.
STEP_SHARE: Final = 0.25

#: Ages of the table in best ages: 0 to 2 in steps of 1/32.
_NODES = 65
REACH = 2.0
LEAST_ALIVE = 1e-9

#: Steps of ln(costs) and ln(wear per part) within which edges share a table.
_ALIKE_COSTS = 0.02
_ALIKE_RATES = 0.1


@dataclass(frozen=True, slots=True)
class MovingCost:
    """Tables for the edges of a plan; made by ``moving_cost``.

    Attributes:
        case: Row of the tables for each edge, shape (edges,).
        best_age: Age of least cost of a new edge [wear units], shape (edges,).
        planned: Cost of a planned swap, same shape.
        running: ``integral_0^age (h (cf - cp) - g*) S`` in planned swaps, shape (cases, nodes).
        alive: Share alive there, same shape.
    """

    case: Ints
    best_age: Floats
    planned: Floats
    running: Floats
    alive: Floats

    def measured_by(self, best_age: Floats) -> MovingCost:
        """The same tables for edges whose own age of least cost is another one."""
        return replace(self, best_age=best_age)

    def between(self, rows: Ints, age: Floats, other: Floats) -> Floats:
        """Cost of swapping at ``other`` instead of at ``age``.

        Of an edge alive at the younger of the two. Ages beyond twice the best one count as
        that.

        Args:
            rows: Edges, shape (asked,).
            age: Where it is meant to come out [wear units], same shape.
            other: Where it would come out instead, same shape.
        """
        here, _ = self._read(rows, age)
        there, _ = self._read(rows, other)
        _, alive = self._read(rows, np.minimum(age, other))
        return self.planned[rows] * (there - here) / np.maximum(alive, LEAST_ALIVE)

    def forward(self, rows: Ints, age: Floats, earlier: Floats) -> Floats:
        """``between`` for edges that come out early: ``earlier`` is not above ``age``."""
        here, _ = self._read(rows, age)
        there, alive = self._read(rows, earlier)
        return self.planned[rows] * (there - here) / np.maximum(alive, LEAST_ALIVE)

    def steps(self, rows: Ints, age: Floats, now: Floats) -> tuple[Floats, Floats]:
        """Cost of swapping ``STEP_SHARE`` of a best age earlier and later than at an age.

        Args:
            rows: Edges, shape (asked,).
            age: Where they come out [wear units].
            now: Their age now [wear units]: none comes out before.

        Returns:
            Earlier (NaN where it comes out now) and later, shape (asked,) each.
        """
        step = STEP_SHARE * self.best_age[rows]
        earlier = np.maximum(age - step, now)
        before = self.between(rows, age, np.minimum(earlier, age))
        return np.where(earlier < age, before, np.nan), self.between(rows, age, age + step)

    def _read(self, rows: Ints, age: Floats) -> tuple[Floats, Floats]:
        position = age / self.best_age[rows] * ((_NODES - 1) / REACH)
        position = np.clip(position, 0.0, _NODES - 1)
        node = np.minimum(position.astype(np.int64), _NODES - 2)
        share = position - node
        at = self.case[rows] * _NODES + node
        low = self.running.ravel()[at], self.alive.ravel()[at]
        high = self.running.ravel()[at + 1], self.alive.ravel()[at + 1]
        return low[0] + share * (high[0] - low[0]), low[1] + share * (high[1] - low[1])


def moving_cost(
    model: LifeModel,
    key: Ints,
    planned: Floats,
    failure: Floats,
    rate: Floats,
    best_age: Floats,
    cost_rate: Floats,
) -> MovingCost:
    """Lay out the tables.

    Edges of one key share theirs where a failure costs as many planned swaps, within 2 per
    cent, and a part wears as much, within a tenth (that only matters for breakage).

    Args:
        model: The life model.
        key: Row of the model of each edge, shape (edges,) as all that follow.
        planned: Cost of a planned swap, in any one currency.
        failure: Cost of a failure, in the same.
        rate: Wear per part [wear units].
        best_age: Age of least cost, as ``model.swap_age`` gives it [wear units].
        cost_rate: Cost per wear unit there.
    """
    alike = np.stack(
        [
            key.astype(np.float64),
            np.rint(np.log(failure / planned) / _ALIKE_COSTS),
            np.rint(np.log(rate) / _ALIKE_RATES),
        ],
        axis=1,
    )
    _, first, case = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    ages = best_age[first][:, None] * np.linspace(0.0, REACH, _NODES)
    hazard_cost = (failure - planned)[first][:, None]
    failed = model.fail_probability(
        key[first][:, None], np.zeros_like(ages), ages, rate[first][:, None]
    )
    alive = 1.0 - failed
    steps = np.diff(ages, axis=1) * (alive[:, 1:] + alive[:, :-1]) / 2
    lived = np.concatenate([np.zeros((len(first), 1)), np.cumsum(steps, axis=1)], axis=1)
    running = hazard_cost * failed - cost_rate[first][:, None] * lived
    running /= planned[first][:, None]
    return MovingCost(case.reshape(-1), best_age, planned, running, alive)
