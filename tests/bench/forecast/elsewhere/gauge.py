"""How a person in such a shop measures a land: with an error of the eye, to a mark."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from crib.arrays import Floats
from tests.bench.forecast.elsewhere.worlds import World


def measured(world: World, land: Floats, rng: np.random.Generator) -> Floats:
    """What is written down of true lands, as shares of the limit."""
    seen = land * np.exp(world.land_noise * rng.standard_normal(land.shape))
    if world.mark:
        # Nobody writes down a land of nothing.
        seen = np.maximum(np.rint(seen / world.mark), 1.0) * world.mark
    return seen


def fits(world: World, seen: Floats, land: Floats) -> Floats:
    """How well true lands fit what was written down: its likelihood, up to a factor."""
    if not world.mark:
        off = np.log(np.maximum(seen, 1e-9) / np.maximum(land, 1e-9)) / world.land_noise
        well: Floats = np.exp(-0.5 * off**2)
        return well
    most = (seen + world.mark / 2) / np.maximum(land, 1e-9)
    least = np.where(seen > 1.5 * world.mark, (seen - world.mark / 2), 1e-300)
    low = np.log(least / np.maximum(land, 1e-9)) / world.land_noise
    between: Floats = ndtr(np.log(most) / world.land_noise) - ndtr(low)
    return between
