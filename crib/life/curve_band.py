"""How sure a key's survival curve is: its band, and what any swap age would cost per use.

Under each law of the model the ln scale of wear-out is known to a deviation, and so is the
chance to reach an age; breakage adds a rate of its own. The curve shown is the mean
over what may be so, the band holds the middle of it, age by age.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaincinv

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.life.asked import new_edges
from crib.life.breakage import YOUNG
from crib.life.curves import GRID
from crib.life.law import FORMS
from crib.life.model import LifeModel
from crib.sentence import sentence

#: Breakage is one of so many equally likely rates.
_BREAKS: Final = 16
_HALVINGS: Final = 40
_MOST_HAZARD: Final = 700.0


@dataclass(frozen=True, slots=True)
class CostCurve:
    """Cost per wear unit of edges of a key, by the age at which they are swapped.

    Attributes:
        ages: Rising [wear units], shape (nodes,).
        rates: Cost per wear unit, in the money of the costs, shape (nodes,).
    """

    ages: Floats
    rates: Floats

    def at(self, age: float) -> float:
        """Cost per wear unit of a swap at an age."""
        return float(np.interp(age, self.ages, self.rates))

    def within(self, age: float, share: float) -> tuple[float, float]:
        """Ages about one from which a swap costs at most so much more than there.

        Args:
            age: Where it is meant to come out [wear units].
            share: How much more is accepted, 0.02 for 2 %.
        """
        most = self.at(age) * (1 + share)
        dear = self.rates > most
        place = int(np.searchsorted(self.ages, age))
        below, above = np.flatnonzero(dear[:place]), np.flatnonzero(dear[place:])
        low, high = float(self.ages[0]), float(self.ages[-1])
        if len(below):
            low = self._crossing(int(below[-1]), most)
        if len(above):
            high = self._crossing(place + int(above[0]) - 1, most)
        return min(low, age), max(high, age)

    def _crossing(self, node: int, most: float) -> float:
        node = max(node, 0)
        begin, end = self.rates[node], self.rates[node + 1]
        share = (most - begin) / (end - begin) if end != begin else 0.0
        step = self.ages[node + 1] - self.ages[node]
        return float(self.ages[node] + min(max(share, 0.0), 1.0) * step)


def survival_band(
    model: LifeModel, key: int, ages: Floats, wear_per_part: float, level: float = 0.8
) -> tuple[Floats, Floats]:
    """Band about a new edge's chance to reach each age, for what is not known of its key.

    The chance itself is ``model.survival``, the mean over all that may be so. Where forecasts
    of the key are widened, the band is stretched about the median as the curve is.

    Args:
        model: The life model.
        key: Its row.
        ages: Ages from 0 up [wear units], shape (ages,).
        wear_per_part: Wear units that a part costs: breakage goes by parts.
        level: Share of what may be so that lies inside.

    Returns:
        Lower and upper end, shape (ages,) each.

    Raises:
        OutsideModel: A level outside 0 to 1.
    """
    if not 0 < level < 1:
        raise OutsideModel(sentence("The level of a band lies between 0 and 1."))
    wear = model._wear  # the posterior of the key, which the model's methods only give mixed
    weights, scales = wear.weights[key], wear.scales
    used = np.flatnonzero(weights > 1e-6)
    share = weights[used] / weights[used].sum()
    one, two = scales.one[key, used], scales.two[key, used]
    # as the curve: an age counts as the one nearer the median
    median, factor = _median(model, key), float(model.widening[key])
    with np.errstate(divide="ignore"):
        log_age = np.log(median) + (np.log(ages) - np.log(median)) / factor
    rows, wpp = np.array([key]), np.array([wear_per_part])
    alpha = model._breakage.alpha[key]
    beta = float(model._breakage.exposure_wear(rows, wpp)[0])
    levels = (np.arange(_BREAKS) + 0.5) / _BREAKS
    breaks = gammaincinv(alpha, levels) / beta
    exposed = model._breakage.exposed(key, ages)

    def below(hazard: Floats) -> Floats:
        """Chance that the cumulative hazard at each age is at most so much."""
        left = np.maximum(hazard[:, None] - breaks * exposed[:, None], 0.0)
        chance: Floats = np.zeros(len(ages))
        for s in range(len(used)):
            form = FORMS[used[s]]
            chance += share[s] * form.hazard_below(log_age, left, one[s], two[s]).mean(axis=1)
        return chance

    tail = (1 - level) / 2
    upper, lower = (np.exp(-_solved(below, ages, p)) for p in (tail, 1 - tail))
    return lower, upper


def _solved(below: Callable[[Floats], Floats], ages: Floats, chance: float) -> Floats:
    """Cumulative hazard that is not passed with a chance, by halving its logarithm."""
    low = np.full(len(ages), -690.0)
    high = np.full(len(ages), np.log(_MOST_HAZARD))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        short = below(np.exp(middle)) < chance
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    result: Floats = np.where(ages > 0, np.exp((low + high) / 2), 0.0)
    return result


def _median(model: LifeModel, key: int) -> float:
    return float(model.basis(np.array([key])).life_p50[0])


def cost_curve(
    model: LifeModel, key: int, planned: float, failure: float, wear_per_part: float
) -> CostCurve:
    """What edges of a key cost per wear unit, by the age of their planned swap.

    ``(c_p S + c_f F) / integral S``, by the law as it is: costs do not go by the widened one,
    so that the least lies where ``model.swap_age`` has it (if it may go so far yet).

    Args:
        model: The life model.
        key: Its row.
        planned: Cost of a planned swap, in any one currency.
        failure: Cost of a failure, in the same.
        wear_per_part: Wear units that a part costs.

    References:
        Barlow & Proschan, Mathematical Theory of Reliability, 1965, age replacement (from
        memory).
    """
    rows, wpp = np.array([key]), np.array([wear_per_part])
    curves, row = model._curves(new_edges(rows), np.array([0]), widened=False)
    edges = model._edges(rows, row, np.zeros(1), wpp)
    ages = np.exp(curves.centre[row[0]] + GRID)
    wear = np.exp(np.minimum(curves.log_hazard[row[0]], _MOST_HAZARD))
    hazard = wear + edges.breaks_ahead(ages[None, :])[0]
    alive = np.exp(-hazard)
    first = ages[0] * (1 + alive[0]) / 2
    steps = np.diff(ages) * (alive[1:] + alive[:-1]) / 2
    lived = first + np.concatenate([[0.0], np.cumsum(steps)])
    return CostCurve(ages, (planned * alive - failure * np.expm1(-hazard)) / lived)


def break_rate(model: LifeModel, key: int, wear_per_part: float) -> float:
    """Breaks per wear unit that a key's edges are expected to have over a promised life.

    Args:
        model: The life model.
        key: Its row.
        wear_per_part: Wear units that a part costs.
    """
    breakage = model._breakage
    beta = breakage.exposure_wear(np.array([key]), np.array([wear_per_part]))
    return float(breakage.alpha[key] / beta[0]) * (1 + breakage.more * YOUNG)
