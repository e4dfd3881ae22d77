"""What is known of Taylor's constants before any life was seen, and how much of it is used."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats
from crib.life.constants_regression import RegressionPrior
from crib.life.taylor import TaylorConstants, life_min
from crib.life.taylor_forms import power_law
from crib.sentence import sentence

#: Powers of speed, feed and depth in ``T = K v^-1/n f^-a/n d^-b/n`` over all tools: from
#: ceramic (1/n about 1.7) to high-speed steel (8), the bite weighing less (from memory).
_ANY_POWER: Final = (4.0, 1.2, 0.5)
_ANY_POWER_SD: Final = (2.0, 1.2, 0.8)

#: A life between a minute and half a day in cut (common practice, no source).
_ANY_LN_LIFE: Final = (math.log(20.0), 2.0)

#: Scatter of ln life: Weibull shapes about 3 (common practice, no source).
_LN_SIGMA: Final = (math.log(1 / 3), 0.6)

#: Scatter assumed while it is judged which constants the lives tell by themselves.
LEAST_SCATTER: Final = 0.3

#: Lives to spare, beyond one per constant, from which on they tell their scatter themselves.
_TELL_SCATTER: Final = 3


@dataclass(frozen=True, slots=True)
class ConstantsPrior:
    """Independent normal knowledge of the powers, the level and the scatter.

    Attributes:
        power_mean: Centre of 1/n, a/n, b/n.
        power_sd: Its standard deviations.
        ln_life_mean: Centre of the life at the lives' own mean cut [ln min].
        ln_life_sd: Its standard deviation.
        ln_sigma_mean: Centre of ln sigma, sigma the scatter of ln life.
        ln_sigma_sd: Its standard deviation.
        name: What it is called in notes.
    """

    power_mean: tuple[float, float, float]
    power_sd: tuple[float, float, float]
    ln_life_mean: float
    ln_life_sd: float
    ln_sigma_mean: float = _LN_SIGMA[0]
    ln_sigma_sd: float = _LN_SIGMA[1]
    name: str = sentence("any tool")


def prior_of_any_tool() -> ConstantsPrior:
    """Wide enough for every tool material: all that is known when nothing is said."""
    return ConstantsPrior(_ANY_POWER, _ANY_POWER_SD, *_ANY_LN_LIFE)


def prior_around(
    constants: TaylorConstants,
    mean_cut: tuple[float, float | None, float | None],
    *,
    name: str,
    exponent_spread: float = 0.3,
    level_sd: float = 0.8,
) -> ConstantsPrior:
    """Centred on constants from a handbook or a shop's own table.

    Args:
        constants: The centre.
        mean_cut: Speed, feed and depth at which the level is compared.
        name: What it is called in notes.
        exponent_spread: Relative standard deviation of 1/n; the powers of feed and depth are
            known less well, twice that and at least as for a common exponent (common
            practice, no source).
        level_sd: Standard deviation of the life's logarithm.

    Raises:
        OutsideModel: A speed, feed or depth that is not above 0.
    """
    law = power_law(constants)
    p = law.speed_power
    bite = 2 * exponent_spread
    return ConstantsPrior(
        (p, law.feed_power, law.depth_power),
        (
            exponent_spread * p,
            bite * max(law.feed_power, 0.3 * p),
            bite * max(law.depth_power, 0.15 * p),
        ),
        math.log(float(life_min(*mean_cut, constants))),
        level_sd,
        name=name,
    )


def columns_of(prior: ConstantsPrior, used: Bools) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the level and the powers in use, shape (coefficients,)."""
    mean = np.array([prior.ln_life_mean, *np.array(prior.power_mean)[used]])
    return mean, np.array([prior.ln_life_sd, *np.array(prior.power_sd)[used]])


def held_by_prior(
    design: Floats, ended: Bools, sd: Floats, scatter: float = LEAST_SCATTER
) -> Bools:
    """Which coefficients need the prior: the lives that ended leave them wider than it.

    One at a time, the worst first, each is handed to the prior until the rest stand by
    themselves; coefficients that only change together go over together.

    Args:
        design: Columns of the regression, shape (lives, coefficients).
        ended: False where the life was cut short, shape (lives,).
        sd: Standard deviations of the prior, shape (coefficients,).
        scatter: Scatter of ln life to judge by.
    """
    x = design[ended]
    held = np.zeros(len(sd), dtype=bool)
    for _ in range(len(sd)):
        # in units of the prior's own standard deviations
        known = (x * sd).T @ (x * sd) / scatter**2 + np.diag(held.astype(float))
        values, vectors = np.linalg.eigh(known)
        loose = values < 1e-9 * max(1.0, float(values[-1]))
        if loose.any():
            part = (np.abs(vectors[:, loose]) > 1e-6).any(axis=1) & ~held
            if not part.any():
                return np.ones(len(sd), dtype=bool)
            held |= part
            continue
        width = np.where(held, 0.0, np.sqrt(np.diag(np.linalg.inv(known))))
        worst = int(np.argmax(width))
        if width[worst] <= 1:
            return held
        held[worst] = True
    return held


def regression_prior(
    prior: ConstantsPrior,
    mean: Floats,
    sd: Floats,
    held: Bools,
    *,
    ended: int,
    scatter_told: bool,
) -> RegressionPrior:
    """The prior for the coefficients that need it, flat for the rest.

    Args:
        prior: Where the scatter's prior comes from.
        mean: Centres, shape (coefficients,).
        sd: Standard deviations, same shape.
        held: Which coefficients take the prior.
        ended: Lives that ended.
        scatter_told: Whether these scatter about their own line at all.
    """
    flat = int((~held).sum())
    own = scatter_told and ended - flat >= _TELL_SCATTER
    return RegressionPrior(
        mean,
        np.where(held, 1 / sd**2, 0.0),
        prior.ln_sigma_mean,
        0.0 if own else 1 / prior.ln_sigma_sd**2,
        float(min(flat, ended)),
    )
