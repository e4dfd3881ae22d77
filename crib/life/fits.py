"""How well the lives of a key fit the curve that is forecast for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.stats import poisson

from crib.arrays import Bools, Floats
from crib.life.model import LifeModel
from crib.life.observations import BROKEN, CENSORED, WORN, LifeHistories
from crib.life.own_fit import chance_of_distance
from crib.life.two_groups import LEAST_WORN, two_groups

TOO_FEW: Final = "too_few"
"""Too few edges wore out to tell."""
TWO: Final = "two_groups"
"""The lives fall into two groups."""
NO_LAW: Final = "no_law"
"""No law of life fits them."""
MORE_EARLY: Final = "more_early"
FEWER_EARLY: Final = "fewer_early"
"""More or fewer fail early than the curve says."""
SHORTER: Final = "shorter"
LONGER: Final = "longer"
"""Edges last shorter or longer than the curve says."""
FITS: Final = "fits"

#: A key that fits is called wrong by any one of these tests at most this often.
_WRONG: Final = 0.01
#: Share of new edges that has failed where early failures end.
_EARLY: Final = 0.1
#: Lives that count for less came before a change, which the curve knows of already.
_COUNTS: Final = 0.5
#: An edge that outlived 99 of 100 counts to there.
_MOST_HAZARD: Final = float(np.log(100))


@dataclass(frozen=True, slots=True)
class KeyFit:
    """How well lives fit their curve.

    Attributes:
        verdict: too_few, two_groups, no_law, more_early, fewer_early, shorter, longer or fits.
        lives: Believed lives that are over, since the last change.
        failed: Those that failed.
        worn: Those that wore out.
        seen_early: Those that failed before the age that a tenth of new edges do not reach.
        expected_early: How many the curve expects there.
        expected: How many failures the curve expects over all wear made.
        shorter: Median of the group that lasts shorter [wear units]; None without two groups.
        longer: Median of the other.
        share: Share of lives in the shorter group.
    """

    verdict: str
    lives: int
    failed: int
    worn: int
    seen_early: int
    expected_early: float
    expected: float
    shorter: float | None = None
    longer: float | None = None
    share: float | None = None


def fit_of_key(model: LifeModel, key: int, wear_per_part: float) -> KeyFit:
    """How well the believed lives of a key fit the curve shown of it.

    First whether they are of one law at all, by themselves. Then failures against those that
    the curve expects: summed over the wear that edges made, the difference is a martingale
    (Fleming & Harrington 1991, from memory), and rare failures are Poisson distributed. As the
    curve learned from these lives too, it is called wrong less often than by chance.

    Args:
        model: The life model.
        key: Row of the key.
        wear_per_part: Wear units that a part costs: breakage goes by parts.
    """
    over = _believed(model, key)
    running = model.running.lives.take(model.running.counts)
    every = over.then(running.take(running.key_index == key))
    ages = _ages(every)
    failed = every.ended != CENSORED
    hazard = _expected(model, key, every, wear_per_part)
    early = -float(np.log(1 - _EARLY))
    found = KeyFit(
        FITS,
        len(over),
        int(failed.sum()),
        int(np.sum(every.ended == WORN)),
        int(np.sum(failed & (hazard < early))),
        float(np.minimum(hazard, early).sum()),
        float(hazard.sum()),
    )
    return _judged(found, model, key, ages, every.ended == WORN)


def _believed(model: LifeModel, key: int) -> LifeHistories:
    """Lives of a key that are over, believed, and not from before a change."""
    lives = model.histories
    of_key = (lives.key_index == key) & (lives.wear > 0)
    return lives.take(of_key & ~model.doubts().doubted & (model.counts_still() >= _COUNTS))


def _expected(model: LifeModel, key: int, lives: LifeHistories, wear_per_part: float) -> Floats:
    """Failures that the curve expects of each life, shape (lives,).

    Of one that failed unseen: the mean of the hazard up to the failure, given the stretch.
    """
    upto = np.stack([lives.since, lives.wear])
    with np.errstate(divide="ignore"):
        hazard = -np.log(model.survival(key, 0.0, upto, wear_per_part))
    good, known = np.minimum(hazard, _MOST_HAZARD)
    dark = np.maximum(known - good, 1e-12)
    failed = lives.ended != CENSORED
    result: Floats = np.where(failed, good + 1 - dark / np.expm1(dark), known)
    return result


def _ages(lives: LifeHistories) -> Floats:
    """Age that each life counts with: a failure that nobody saw lies in the middle."""
    middle = (lives.wear + lives.since) / 2
    ages = np.where(lives.ended == WORN, middle, lives.wear)
    result: Floats = np.where(lives.ended == BROKEN, lives.since, ages)
    return np.maximum(result, 1e-9)


def _judged(found: KeyFit, model: LifeModel, key: int, ages: Floats, worn: Bools) -> KeyFit:
    if found.worn >= LEAST_WORN:
        opinion = model._wear.opinion[key]  # of the posterior, which methods only give mixed
        groups = two_groups(ages[None], worn[None], opinion)
        if groups.believed(len(ages))[0]:
            shorter, longer, share = (
                float(one[0]) for one in (groups.shorter, groups.longer, groups.share)
            )
            return replace(found, verdict=TWO, shorter=shorter, longer=longer, share=share)
        if chance_of_distance(ages, worn, opinion) <= _WRONG:
            return replace(found, verdict=NO_LAW)
    verdict = FITS
    if _too_many(found.seen_early, found.expected_early):
        verdict = MORE_EARLY
    elif _too_few(found.seen_early, found.expected_early):
        verdict = FEWER_EARLY
    elif _too_many(found.failed, found.expected):
        verdict = SHORTER
    elif _too_few(found.failed, found.expected):
        verdict = LONGER
    elif found.worn < LEAST_WORN:
        verdict = TOO_FEW
    return replace(found, verdict=verdict)


def _too_many(seen: int, expected: float) -> bool:
    return bool(poisson.sf(seen - 1, expected) <= _WRONG)


def _too_few(seen: int, expected: float) -> bool:
    return bool(poisson.cdf(seen, expected) <= _WRONG)
