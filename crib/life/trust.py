"""How far each record is to be trusted as the life of one edge.

An edge that was turned without telling leaves one record of two lives. Two things give it
away: it is longer than the key's law holds likely, and longer by about two than the age at
which edges of the key are usually taken out.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtr

from crib.life.law import SHAPES, Law
from crib.life.observations import BROKEN, CENSORED, WORN, Ints, LifeHistories
from crib.life.taylor import Floats

#: Share of edges that somebody turned without telling, before any life was seen: common
#: practice, no source. Worth as much as a hundred lives.
_TURNED: Final = 0.02
_TURNED_WORTH: Final = 100.0
# Planned removals: most at the usual age, the rest anywhere over a range of ln age.
_USUAL_SHARE, _ANYWHERE = 0.8, 2.5
_LEAST_SPREAD: Final = 0.08
_ENOUGH: Final = 5
_NEARLY_EXACT: Final = 1e-3
#: ln age over the scale from which a record may be of two lives.
_OLD: Final = 0.1


def trust(lives: LifeHistories, law: Law, habit: Floats) -> Floats:
    """Chance that each record is the life of one edge, shape (lives,).

    How common double records are, the records themselves tell (a few rounds of expectation and
    maximisation).

    Args:
        lives: Believable lives.
        law: The keys' laws as far as they are known.
        habit: What ``log_habit`` says of each life.
    """
    result = np.ones(len(lives))
    middle = np.sum(law.weights * law.scale, axis=1) + law.promise
    with np.errstate(divide="ignore"):
        old = np.log(lives.wear) > middle[lives.key_index] + _OLD
    rows = np.flatnonzero(old | (habit > 0))
    if not len(rows):
        return result
    some = lives.take(rows)
    two = _log_chance(some, law, np.log(2.0)) - _log_chance(some, law, 0.0)
    ratio = np.exp(np.clip(two + habit[rows], -50, 50))
    turned, belief = _TURNED, result[rows]
    for _ in range(4):
        belief = 1 / (1 + turned / (1 - turned) * ratio)
        lost = float(np.sum(1 - belief))
        turned = (_TURNED * _TURNED_WORTH + lost) / (_TURNED_WORTH + len(lives))
    # The shortest explanation is never doubted.
    result[rows] = np.where(ratio > 1, belief, 1.0)
    return result


def _log_chance(lives: LifeHistories, law: Law, longer: float) -> Floats:
    """Ln likelihood of each life, its law's ages stretched by ``exp(longer)``."""
    key = lives.key_index
    log_hi = np.log(np.maximum(lives.wear, 1e-12)) - law.promise[key] - longer
    log_lo = np.log(np.maximum(lives.since, 1e-12)) - law.promise[key] - longer
    worn = lives.ended == WORN
    exact = worn & (log_hi - log_lo <= _NEARLY_EXACT)
    between = worn & ~exact
    log_age = np.where(lives.ended == BROKEN, log_lo, log_hi)
    terms = np.empty((len(lives), len(SHAPES)))
    for s, shape in enumerate(SHAPES):
        scale = law.scale[key, s]
        power = shape * (log_age - scale)
        hazard = np.exp(np.minimum(power, 50.0))
        chance = np.where(exact, np.log(shape) + power - hazard, -hazard)
        if between.any():
            low = np.exp(np.minimum(shape * (log_lo - scale)[between], 50.0))
            step = np.maximum(hazard[between] - low, 1e-12)
            chance[between] = -low + np.log(-np.expm1(-step))
        terms[:, s] = chance
    top = terms.max(axis=1)
    weights = np.maximum(law.weights[key], 1e-12)
    result: Floats = top + np.log(np.sum(weights * np.exp(terms - top[:, None]), axis=1))
    return result


def log_habit(lives: LifeHistories, keys: int) -> Floats:
    """Ln odds of two lives against one by the age at which edges are usually taken out."""
    early = (lives.ended == CENSORED) & (lives.wear > 0)
    log_age = np.log(np.maximum(lives.wear, 1e-12))
    label, taken = lives.key_index[early], log_age[early]
    usual, count = medians(label, taken, keys)
    spread, _ = medians(label, np.abs(taken - usual[label]), keys)
    sd = np.maximum(1.48 * spread, _LEAST_SPREAD)[lives.key_index]
    off = log_age - usual[lives.key_index]
    rest = (1 - _USUAL_SHARE) / _ANYWHERE

    def density(gap: Floats) -> Floats:
        normal = np.exp(-0.5 * (gap / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
        result: Floats = np.log(_USUAL_SHARE * normal + rest)
        return result

    def left_in(gap: Floats) -> Floats:
        result: Floats = np.log(_USUAL_SHARE * ndtr(-gap / sd) + 1 - _USUAL_SHARE)
        return result

    twice = off - np.log(2.0)
    odds = np.where(early, density(twice) - density(off), left_in(twice) - left_in(off))
    return np.where(count[lives.key_index] >= _ENOUGH, odds, 0.0)


def medians(label: Ints, values: Floats, size: int) -> tuple[Floats, Ints]:
    """Median of values by label (0 where there are none), and how many they are."""
    order = np.lexsort((values, label))
    ranked = values[order]
    count = np.bincount(label, minlength=size)
    start = np.cumsum(count) - count
    some = count > 0
    result = np.zeros(size)
    low = start[some] + (count[some] - 1) // 2
    high = start[some] + count[some] // 2
    result[some] = (ranked[low] + ranked[high]) / 2
    return result, count
