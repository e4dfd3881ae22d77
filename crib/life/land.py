"""Flank wear to expect on a new edge at an age, and the age at which a land is to be expected.

The model of looks (``crib.life.looks``) asked forwards: of an edge that lives X a land of
``ln share = level + ln(r + (1 - r) u/X) + error`` is seen at age u, with r the run-in. X runs
over the key's wear-out law, so that the answer carries what differs from edge to edge, what is
not known of the key, and how lands scatter. Edges that would have worn out before are counted
in: a land is asked of all edges that start.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.life.asked import asked_for
from crib.life.curves import GRID, Curves
from crib.life.looks import Looks
from crib.life.model import LifeModel
from crib.life.observations import LAND_SEEN
from crib.life.signs import NO_SIGNS
from crib.sentence import figure, sentence

_HALVINGS: Final = 50
#: ln share of the limit between which lands are looked for.
_LEAST, _MOST = -9.0, 3.0
#: Ages that are looked through first, per unit of ln age.
_STEPS: Final = 24


@dataclass(frozen=True, slots=True)
class LandLaw:
    """Lands of one key's new edges.

    Attributes:
        log_life: ln wear-out lives, shape (nodes,).
        weight: Chance of each, shape (nodes,).
        looks: What looks are worth.
        key: The key's row.
        lands: Lands measured on edges of the key.
    """

    log_life: Floats
    weight: Floats
    looks: Looks
    key: int
    lands: int

    def reaches(self, share: ArrayLike, age: ArrayLike) -> Floats:
        """Chance that the land at an age is at least such a share of the limit.

        Args:
            share: Shares of the wear limit, above 0.
            age: Ages [wear units], above 0; broadcast with the shares.
        """
        shares, ages = np.broadcast_arrays(
            np.asarray(share, dtype=np.float64), np.asarray(age, dtype=np.float64)
        )
        expected, sd = self._forecast(ages.reshape(-1))
        found = self._above(np.log(shares.reshape(-1)), expected, sd)
        return found.reshape(shares.shape)

    def share_at(self, age: ArrayLike, probs: ArrayLike) -> Floats:
        """Share of the wear limit that so many edges do not exceed at an age.

        Returns:
            Quantiles of the share, shape (ages, probs).

        Raises:
            OutsideModel: An age that is not above 0.
        """
        ages, p = np.atleast_1d(age).astype(np.float64), np.atleast_1d(probs)
        if not np.all(np.isfinite(ages) & (ages > 0)):
            raise OutsideModel(sentence("A land needs an age above 0."))
        forecasts = self._forecast(np.repeat(ages, len(p)))
        below = np.tile(np.asarray(p, dtype=np.float64), len(ages))
        low, high = np.full(below.shape, _LEAST), np.full(below.shape, _MOST)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            more = 1 - self._above(middle, *forecasts) < below
            low, high = np.where(more, middle, low), np.where(more, high, middle)
        found: Floats = np.exp((low + high) / 2).reshape(len(ages), len(p))
        return found

    def age_of(self, share: float, probs: ArrayLike) -> Floats:
        """Ages from which on such shares of the edges show a land.

        Args:
            share: Share of the wear limit, above the run-in and at most 1.
            probs: Shares of the edges.

        Returns:
            Ages [wear units], shape (probs,); 0 where so many show it from the first parts on,
            NaN where so many never do before the land runs away.

        Raises:
            OutsideModel: A land past the limit, or one that half of the edges show at once.
        """
        if not 0 < share <= 1:
            raise OutsideModel(
                sentence(
                    "The land has to be above 0 and at most the wear limit: past it the wear "
                    "runs away."
                ),
                errors=[{"field": "land_mm", "detail": sentence("0 to the wear limit")}],
            )
        life = self.log_life
        grid = np.arange(float(life[0]) - 4, float(life[-1]) + 1, 1 / _STEPS)
        chance = self.reaches(share, np.exp(grid))
        if chance[0] >= 0.5:
            least = float(self.share_at(np.exp(grid[:1]), 0.5)[0, 0])
            raise OutsideModel(
                sentence(
                    "Half of the edges show such a land from the first parts on: run-in alone "
                    "takes {percent} % of the limit. Ask for a larger land.",
                    percent=figure(100 * least, ".0f"),
                ),
                errors=[{"field": "land_mm", "detail": sentence("is below the run-in")}],
            )
        return np.array([self._age(share, q, grid, chance) for q in np.atleast_1d(probs)])

    def _age(self, share: float, q: float, grid: Floats, chance: Floats) -> float:
        fewer = np.flatnonzero(chance < q)
        if not len(fewer):
            return 0.0
        last = int(fewer[-1])
        if last == len(grid) - 1:
            return float("nan")
        low, high = float(grid[last]), float(grid[last + 1])
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            if float(self.reaches(share, np.exp(middle))) < q:
                low = middle
            else:
                high = middle
        return float(np.exp((low + high) / 2))

    def _forecast(self, ages: Floats) -> tuple[Floats, Floats]:
        """Ln share expected of each life, and its deviation, shape (ages, nodes)."""
        one = np.ones(len(ages), dtype=np.int64)
        taken = self.looks.at(self.key * one, LAND_SEEN * one, np.ones(len(ages)), ages)
        lives = np.broadcast_to(self.log_life, (len(ages), len(self.log_life)))
        doubt = taken.doubt_in_common(self.looks.shared)
        log_share, variance = taken.forecast(taken.goes_with(lives), doubt)
        return log_share + self.looks.level[LAND_SEEN, self.key], np.sqrt(variance)

    def _above(self, log_share: Floats, expected: Floats, sd: Floats) -> Floats:
        result: Floats = ndtr((expected - log_share[:, None]) / sd) @ self.weight
        return result


def land_law(model: LifeModel, key: int) -> LandLaw:
    """How the flank wear of a key's new edges grows.

    Args:
        model: The life model.
        key: Row of the key.

    Raises:
        OutsideModel: A key that is not there.
    """
    asked = asked_for(len(model.keys), key, NO_SIGNS)
    # curves and looks as the model has them, which its methods only give put together
    curves, row = model._curves(asked, np.arange(1))
    lives = model.histories
    lands = (lives.key_index == key) & (lives.seen_kind == LAND_SEEN)
    return land_law_of(curves, int(row[0]), model._wear.looks, key, int(lands.sum()))


def land_law_of(curves: Curves, row: int, looks: Looks, key: int, lands: int) -> LandLaw:
    """The law of a key's lands.

    Args:
        curves: Tables of wear-out lives.
        row: The key's table.
        looks: What looks are worth.
        key: The key's row among the keys.
        lands: Lands measured on its edges.
    """
    alive = np.exp(-np.exp(np.minimum(curves.log_hazard[row], 50.0)))
    middle = float(curves.centre[row]) + (GRID[1:] + GRID[:-1]) / 2
    weight = alive[:-1] - alive[1:]
    kept = weight > 1e-9
    return LandLaw(middle[kept], weight[kept] / weight[kept].sum(), looks, key, lands)
