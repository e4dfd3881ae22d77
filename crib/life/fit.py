"""Plain estimates from lives alone: maximum likelihood, median ranks, Kaplan-Meier.

The forecast uses the pooled model of ``crib.life.model``; these are for a person
who wants to see what the shop's own lives say by themselves.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats
from crib.errors import OutsideModel
from crib.sentence import sentence

_SHAPE_MOST = 1e4


class WeibullFit(NamedTuple):
    """Estimated law.

    Attributes:
        shape: k.
        scale: theta, in the unit of the ages.
        log_likelihood: At the estimate.
    """

    shape: float
    scale: float
    log_likelihood: float


class ExponentialFit(NamedTuple):
    """Estimated law of a life that does not age.

    Attributes:
        scale: Mean life, in the unit of the ages.
        log_likelihood: At the estimate.
    """

    scale: float
    log_likelihood: float


class SurvivalStep(NamedTuple):
    """One step of the Kaplan-Meier curve: the share that outlives ``age``."""

    age: float
    survival: float
    at_risk: int
    failed: int


def _lives(age: ArrayLike, ended: ArrayLike) -> tuple[Floats, Bools]:
    ages = np.atleast_1d(np.asarray(age, dtype=np.float64))
    failed = np.atleast_1d(np.asarray(ended, dtype=bool))
    if ages.shape != failed.shape or ages.ndim != 1:
        raise OutsideModel(sentence("Every life needs one age and one mark whether it ended."))
    if not np.all(np.isfinite(ages) & (ages > 0)):
        raise OutsideModel(sentence("An age has to be a number above 0."))
    return ages, failed


def fit_weibull(age: ArrayLike, ended: ArrayLike) -> WeibullFit:
    """Maximum likelihood under right censoring.

    The shape solves ``sum x^k ln x / sum x^k - 1/k - mean of ln x over failures = 0``, which
    rises with k; then ``theta^k = sum x^k / failures`` (e.g. Lawless, Statistical Models and
    Methods for Lifetime Data, from memory).

    Args:
        age: Ages reached, shape (lives,).
        ended: True failed, False taken out early, shape (lives,).

    Raises:
        OutsideModel: Fewer than two different ages with a failure among them: the likelihood
            then has no finite maximum.
    """
    ages, failed = _lives(age, ended)
    count = int(failed.sum())
    unit = float(ages.max())
    logs = np.log(ages / unit)
    mean_log = float(logs[failed].mean()) if count else 0.0
    # All weight at the largest age: the shape grows without bound when that is the mean.
    if count == 0 or mean_log >= 0:
        raise OutsideModel(
            sentence(
                "Maximum likelihood needs at least two different ages and a failure "
                "before the oldest; use the pooled model for fewer."
            )
        )

    def slope(k: float) -> float:
        weights = np.exp(k * logs)
        return float(weights @ logs / weights.sum()) - 1 / k - mean_log

    low, high = 1e-3, 1.0
    while slope(high) < 0 and high < _SHAPE_MOST:
        high *= 2
    while slope(low) > 0:
        low /= 2
    for _ in range(200):
        middle = (low + high) / 2
        if slope(middle) > 0:
            high = middle
        else:
            low = middle
        if high - low <= 1e-13 * high:
            break
    k = (low + high) / 2
    scale = unit * float(np.exp(np.log(np.exp(k * logs).sum() / count) / k))
    likelihood = (
        count * np.log(k)
        - count * k * np.log(scale)
        + (k - 1) * np.log(ages[failed]).sum()
        - np.sum((ages / scale) ** k)
    )
    return WeibullFit(k, scale, float(likelihood))


def fit_exponential(age: ArrayLike, ended: ArrayLike) -> ExponentialFit:
    """Maximum likelihood of a constant rate under right censoring, ``sum x / failures``.

    A Weibull law that is hardly likelier than this one shows no ageing, and then a planned
    swap gains nothing (e.g. Lawless, Statistical Models and Methods for Lifetime Data, from
    memory).

    Args:
        age: Ages reached, shape (lives,).
        ended: True failed, False taken out early, shape (lives,).

    Raises:
        OutsideModel: No failure: the rate may then be as small as one likes.
    """
    ages, failed = _lives(age, ended)
    count = int(failed.sum())
    if count == 0:
        raise OutsideModel(sentence("Maximum likelihood of a constant rate needs a failure."))
    scale = float(ages.sum()) / count
    return ExponentialFit(scale, -count * (float(np.log(scale)) + 1))


def kaplan_meier(age: ArrayLike, ended: ArrayLike) -> list[SurvivalStep]:
    """Share alive after each failed age; those taken out at that age were still at risk.

    Args:
        age: Ages reached, in any one unit of use, shape (lives,).
        ended: True failed, False taken out early, shape (lives,).

    Raises:
        OutsideModel: Ages and marks of different shapes, or an age that is not above 0.

    References:
        Kaplan & Meier 1958, product-limit estimate (from memory).
    """
    ages, failed = _lives(age, ended)
    share, steps = 1.0, []
    for moment in np.unique(ages[failed]):
        at_risk = int((ages >= moment).sum())
        gone = int((ages[failed] == moment).sum())
        share *= 1 - gone / at_risk
        steps.append(SurvivalStep(float(moment), share, at_risk, gone))
    return steps
