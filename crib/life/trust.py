"""How far each record is to be trusted as the life of one edge.

An edge that was turned without telling leaves one record of two lives. Two things give it
away: it is longer than the key's law holds likely, and longer by about two than the age at
which edges of the key are usually taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr

from crib.arrays import Bools, Floats, Ints
from crib.life.law import FORMS, Law
from crib.life.observations import (
    BROKEN,
    CENSORED,
    WORN,
    LifeHistories,
    by_label,
    seen_failures,
)

#: Share of edges that somebody turned without telling, before any life was seen: common
#: practice, no source. Worth as much as a thousand lives, or a law with a long tail would pass
#: for one of many double records.
_TURNED: Final = 0.02
_TURNED_WORTH: Final = 1000.0
# Planned removals: most at the usual age, the rest anywhere over a range of ln age.
_USUAL_SHARE, _ANYWHERE = 0.8, 2.5
_LEAST_SPREAD: Final = 0.08
_ENOUGH: Final = 5
#: ln age over the median from which a record may be of two lives.
_OLD: Final = 0.15
#: Least weight of a law that counts.
_COUNTS: Final = 1e-3
_PIECE: Final = 65_536


@dataclass(frozen=True, slots=True)
class Habit:
    """At which age edges are usually taken out, arrays of shape (keys,).

    Attributes:
        usual: Median of ln age.
        spread: Deviation about it.
        told: Whether enough were taken out to judge.
    """

    usual: Floats
    spread: Floats
    told: Bools

    def log_odds(self, lives: LifeHistories) -> Floats:
        """Ln odds of two lives against one by this habit, shape (lives,)."""
        key, sd = lives.key_index, self.spread[lives.key_index]
        off = np.log(np.maximum(lives.wear, 1e-12)) - self.usual[key]
        odds = np.zeros(len(lives))
        early = lives.ended == CENSORED
        for law, which in ((_taken_out, early), (_left_in, ~early)):
            rows = np.flatnonzero(which & self.told[key])
            gap, spread = off[rows], sd[rows]
            odds[rows] = np.log(law(gap - np.log(2.0), spread)) - np.log(law(gap, spread))
        return odds

    def hazard(self, lives: LifeHistories) -> Floats:
        """Hazard per unit of ln age that an edge is taken out at the end of each life.

        NaN where no habit is known; shape (lives,).
        """
        key, sd = lives.key_index, self.spread[lives.key_index]
        off = np.log(np.maximum(lives.wear, 1e-12)) - self.usual[key]
        return np.where(self.told[key], _taken_out(off, sd) / _left_in(off, sd), np.nan)


def _taken_out(gap: Floats, sd: Floats) -> Floats:
    """Density of planned removals over ln age, so far from the usual one."""
    normal = np.exp(-0.5 * (gap / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    result: Floats = _USUAL_SHARE * normal + (1 - _USUAL_SHARE) / _ANYWHERE
    return result


def _left_in(gap: Floats, sd: Floats) -> Floats:
    """Share of edges not taken out by then."""
    result: Floats = _USUAL_SHARE * ndtr(-gap / sd) + 1 - _USUAL_SHARE
    return result


def learn_habit(lives: LifeHistories, keys: int) -> Habit:
    """Learn from the edges that were taken out early."""
    early = (lives.ended == CENSORED) & (lives.wear > 0)
    label, taken = lives.key_index[early], np.log(lives.wear[early])
    usual, count = medians(label, taken, keys)
    spread, _ = medians(label, np.abs(taken - usual[label]), keys)
    return Habit(usual, np.maximum(1.48 * spread, _LEAST_SPREAD), count >= _ENOUGH)


@dataclass(frozen=True, slots=True)
class Doubts:
    """What gives a record of two lives away.

    Attributes:
        habit: The usual age of removals.
        turned: Share of edges that somebody turned without telling.
    """

    habit: Habit
    turned: float = _TURNED

    def belief(self, lives: LifeHistories, law: Law) -> Floats:
        """Chance that each record is the life of one edge, shape (lives,)."""
        return self.weighed(len(lives), *_suspects(lives, law, self.habit))

    def weighed(self, lives: int, rows: Ints, ratio: Floats) -> Floats:
        """The same where only some rows are suspect, each so much likelier two than one."""
        result = np.ones(lives)
        odds = self.turned / (1 - self.turned)
        # The shortest explanation is never doubted.
        result[rows] = np.where(ratio > 1, 1 / (1 + odds * ratio), 1.0)
        return result


def learn_doubts(lives: LifeHistories, law: Law, habit: Habit) -> tuple[Doubts, Floats]:
    """Learn how common double records are (rounds of expectation and maximisation).

    Args:
        lives: Believable lives.
        law: The keys' laws as far as they are known.
        habit: The usual age of removals.

    Returns:
        The doubts, and the belief in each of these lives, shape (lives,).
    """
    rows, ratio = _suspects(lives, law, habit)
    turned = _TURNED
    for _ in range(4):
        lost = float(np.sum(1 - 1 / (1 + turned / (1 - turned) * ratio)))
        turned = (_TURNED * _TURNED_WORTH + lost) / (_TURNED_WORTH + len(lives))
    doubts = Doubts(habit, turned)
    return doubts, doubts.weighed(len(lives), rows, ratio)


def _suspects(lives: LifeHistories, law: Law, habit: Habit) -> tuple[Ints, Floats]:
    """Lives long enough to be two, and how much likelier two are than one."""
    middle = law.usual()
    usual = habit.log_odds(lives)
    with np.errstate(divide="ignore"):
        old = np.log(lives.wear) > middle[lives.key_index] + _OLD
    rows = np.flatnonzero((old | (usual > 0)) & ~lives.sure)
    two = np.empty(len(rows))
    # In pieces that stay in the processor's cache.
    for start in range(0, len(rows), _PIECE):
        part = slice(start, start + _PIECE)
        two[part] = _log_ratio(lives.take(rows[part]), law)
    return rows, np.exp(np.clip(two + usual[rows], -50, 50))


def _log_ratio(lives: LifeHistories, law: Law) -> Floats:
    """Ln of how much likelier each life is if the law's ages are doubled, shape (lives,)."""
    key = lives.key_index
    log_hi = np.log(np.maximum(lives.wear, 1e-12)) - law.promise[key]
    log_lo = np.log(np.maximum(lives.since, 1e-12)) - law.promise[key]
    exact = seen_failures(lives)
    between = np.flatnonzero((lives.ended == WORN) & ~exact)
    log_age = np.where(lives.ended == BROKEN, log_lo, log_hi)
    one, two = (np.full((len(FORMS), len(lives)), -np.inf) for _ in range(2))
    for s, form in enumerate(FORMS):
        if not (law.weights[:, s] > _COUNTS).any():
            continue
        scale = law.scale[:, s].take(key)
        weight = np.log(np.maximum(law.weights[:, s], 1e-12)).take(key)
        # Two lives in one record: the age counts half.
        for terms, half in ((one, 0.0), (two, float(np.log(2.0)))):
            w = log_age - scale - half
            alive = form.log_alive(w)
            terms[s] = weight + np.where(exact, form.log_density(w), alive)
            if len(between):
                low = form.log_alive(log_lo[between] - scale[between] - half)
                step = np.maximum(low - alive[between], 1e-250)
                terms[s, between] = weight[between] + low + np.log(-np.expm1(-step))
    return _log_sum(two) - _log_sum(one)


def _log_sum(terms: Floats) -> Floats:
    """``ln sum exp`` down the columns of terms (shapes, lives)."""
    top = terms.max(axis=0, initial=-np.inf)
    terms -= top
    result: Floats = top + np.log(np.exp(terms, out=terms).sum(axis=0))
    return result


def medians(label: Ints, values: Floats, size: int) -> tuple[Floats, Ints]:
    """Median of values by label (0 where there are none), and how many they are."""
    order = np.argsort(values)
    ranked = values[order[by_label(label[order])]]
    count = np.bincount(label, minlength=size)
    start = np.cumsum(count) - count
    some = count > 0
    result = np.zeros(size)
    low = start[some] + (count[some] - 1) // 2
    high = start[some] + count[some] // 2
    result[some] = (ranked[low] + ranked[high]) / 2
    return result, count
