"""What a forecast rests on: lives seen, prior and the life of a new edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.curves import Curves, Edges, ahead_for_hazard
from crib.life.observations import BROKEN, CENSORED, WORN
from crib.life.pooling import KeyTable
from crib.life.posterior import Posterior


@dataclass(frozen=True, slots=True)
class Basis:
    """What a forecast rests on, arrays of shape (keys asked,).

    Attributes:
        worn: Lives ended by wear.
        broken: Lives ended by breakage.
        censored: Edges taken out early.
        promised: Life that constants or guess promise [wear units].
        prior_scale: Scale of life as like keys say it, before the key's own [wear units].
        life_p10: Wear-out life of a new edge that 10 % do not reach.
        life_p50: Its median.
        life_p90: Reached by 10 % only; p10 to p90 is the 80 % interval.
    """

    worn: Ints
    broken: Ints
    censored: Ints
    promised: Floats
    prior_scale: Floats
    life_p10: Floats
    life_p50: Floats
    life_p90: Floats


def new_lives(curves: Curves, row: Ints) -> list[Floats]:
    """Ages that 10, 50 and 90 % of new edges do not reach, breakage apart; each (edges,)."""
    zero = np.zeros(len(row))
    edges = Edges(row, zero, zero, np.ones(len(row)), zero)
    hazards = (np.full(len(row), -np.log1p(-p)) for p in (0.1, 0.5, 0.9))
    return [ahead_for_hazard(curves, edges, hazard) for hazard in hazards]


def basis_of(keys: KeyTable, wear: Posterior, rows: Ints, lives: list[Floats]) -> Basis:
    """Basis of some keys.

    Args:
        keys: The key table.
        wear: What is known of each key's wear-out.
        rows: Keys asked for.
        lives: A new edge's life at 10, 50 and 90 %, each of shape (keys asked,).
    """
    counts = wear.counts[rows]
    return Basis(
        counts[:, WORN],
        counts[:, BROKEN],
        counts[:, CENSORED],
        np.exp(keys.prior_mean[rows]),
        np.exp(wear.lean_mean[rows]),
        *lives,
    )
