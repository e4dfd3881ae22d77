"""Whether lives changed at some time, and how much those from before still say.

A new coating, grade or coolant, or a job done another way, changes how long edges last from
one day on: those of one key, or those of all keys of an item. For each place in the row of
lives, two rates of wear-out, one before and one since, are weighed against one for all (change
point of an exponential family: Carlin, Gelfand & Smith 1992, from memory). Lives from before a
change then count with the chance that there was none (power prior: Ibrahim & Chen 2000, from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaln, logsumexp

from crib.arrays import Floats, Ints
from crib.life.conjugate import inverse_trigamma
from crib.life.law import SHAPES
from crib.life.observations import WORN, LifeHistories, per_key
from crib.life.shapes import law_prior

#: Chance that a key, or an item, changes from one life of a key to the next, that it ever
#: did, and how far ln life then goes: common practice, no source.
_CHANGES: Final = 0.005
_EVER: Final = 0.25
_STEP: Final = 0.5
#: Failures to be expected of one edge, at most: one strange record is no change.
_MOST: Final = 4.0
#: Weibull shapes that are tried.
_SHAPES: Final[Floats] = SHAPES[2::4]
_LOG_PRIOR: Final[Floats] = law_prior()[2 : len(SHAPES) : 4]


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows put in the order of their groups, within each in that of time.

    Attributes:
        order: Row at each place, shape (rows,).
        begin: First place of each group that has any.
        number: Number of each place's group among those.
    """

    order: Ints
    begin: Ints
    number: Ints

    @property
    def last(self) -> Ints:
        """Last place of each group."""
        result: Ints = np.append(self.begin[1:], len(self.order)) - 1
        return result

    def so_far(self, column: Floats) -> Floats:
        """Sum over each group up to each place, itself among them."""
        total = np.cumsum(column)
        result: Floats = total - (total[self.begin] - column[self.begin])[self.number]
        return result

    def whole(self, column: Floats) -> Floats:
        """Sum over each place's group."""
        result: Floats = np.add.reduceat(column, self.begin)[self.number]
        return result

    def most(self, column: Floats) -> Floats:
        """Largest of each place's group."""
        result: Floats = np.maximum.reduceat(column, self.begin)[self.number]
        return result

    def steps(self, column: Floats) -> Floats:
        """What each place adds to a column that begins at 0 in each group."""
        result = np.diff(column, prepend=0.0)
        result[self.begin] = column[self.begin]
        return result

    def back(self, column: Floats) -> Floats:
        """A column in the order of the rows."""
        result = np.empty_like(column)
        result[self.order] = column
        return result


def rows_by(group: Ints) -> Rows:
    """Rows by the number of their group."""
    order = np.argsort(group, kind="stable")
    new = np.diff(group[order], prepend=-1) > 0
    return Rows(order, np.flatnonzero(new), np.cumsum(new) - 1)


def counts_still(
    lives: LifeHistories,
    item: Ints,
    worn: Floats,
    trust: Floats,
    cell: Ints,
    shared: Floats,
) -> Floats:
    """Chance that no change came after each life, shape (lives,).

    Args:
        lives: Believable lives in the order in which they ended.
        item: Item of each key, shape (keys,).
        worn: Chance that each edge was worn out, shape (lives,).
        trust: Weight of each life from 0 to 1, shape (lives,).
        cell: Cell of each life, shape (lives,).
        shared: Variance of ln life that the lives of each cell share, shape (cells,).
    """
    if not len(lives):
        return np.ones(0)
    key = lives.key_index
    by_key, by_item = rows_by(key), rows_by(item[key])
    alike = (per_key(cell, worn * trust, len(shared)) * shared)[cell]
    odds = _at_any_shape(lives, by_key, worn, trust, alike)
    own, log_any = _no_change_after(
        by_key, odds + _log_rare(by_key, np.ones(len(lives))), np.zeros(len(lives))
    )
    # All keys of an item at once stand against each by itself.
    first = np.zeros(len(lives))
    first[by_key.begin] = log_any[by_key.begin]
    none = by_item.whole(by_key.back(first)[by_item.order])
    sharers = by_item.whole((by_key.back(first) != 0)[by_item.order].astype(np.float64))
    at_once = by_item.so_far(by_key.back(by_key.steps(odds))[by_item.order])
    at_once += _log_rare(by_item, sharers)
    still, log_all = _no_change_after(by_item, np.where(sharers > 1, at_once, -np.inf), none)
    apart = by_item.back(np.exp(none - log_all))
    return np.clip(by_item.back(still) - apart * (1 - by_key.back(own)), 0.0, 1.0)


def _log_rare(rows: Rows, sharers: Floats) -> Floats:
    """Ln chance of a change after each place, before any life; of so many keys at once."""
    many = np.maximum(sharers, 1.0)
    lives = rows.whole(np.ones(len(rows.order))) / many
    result: Floats = np.log(_CHANGES / (1 + lives * _CHANGES / _EVER) / many)
    return result


def log_odds(rows: Rows, ends: Floats, cut: Floats, prior: Floats) -> tuple[Floats, Floats]:
    """Ln odds of two rates of failing against one, parted after each place.

    A rate is ``Gamma(prior, prior)`` over what is usual for its group; 0 after a group's last.

    Args:
        rows: The groups.
        ends: Failures at each row, shape (rows,).
        cut: What was at risk at each row, shape (rows,).
        prior: Shape of the rate, shape (rows,).

    Returns:
        The odds, and ln likelihood of one rate for the whole group; by place, shape (rows,).
    """
    ends, cut, prior = ends[rows.order], cut[rows.order], prior[rows.order]
    all_ends = rows.whole(ends)
    # One rate for all: what makes them as long as they are on the whole.
    usual = (all_ends + 1) / (rows.whole(cut) + 1)
    cut = cut * usual
    all_cut, before, cut_before = rows.whole(cut), rows.so_far(ends), rows.so_far(cut)
    since = np.maximum(all_ends - before, 0.0), np.maximum(all_cut - cut_before, 0.0)
    one = _log_weight(all_ends, all_cut, prior)
    odds = _log_weight(before, cut_before, prior) + _log_weight(*since, prior) - one
    odds[rows.last] = 0.0
    return odds, one + all_ends * np.log(usual)


def _at_any_shape(
    lives: LifeHistories, by_key: Rows, worn: Floats, trust: Floats, alike: Floats
) -> Floats:
    """Odds of two rates against one for each key, whatever its lives scatter by.

    A change that goes unseen looks like lives that scatter, so each shape is weighed as the
    lives without any change have it, and not taken from the law known so far.
    """
    age = np.where(lives.ended == WORN, (lives.wear + lives.since) / 2, lives.wear)
    log_age = np.log(np.maximum(age, 1e-12))
    # Not beside the law known so far: once a change is found, that is the law since.
    total = by_key.whole((trust * log_age)[by_key.order])
    log_age -= by_key.back(total / by_key.whole(np.maximum(trust, 1e-9)[by_key.order]))
    odds, fits = [], []
    for shape, log_prior in zip(_SHAPES, _LOG_PRIOR, strict=True):
        # Many lives of one box are not many.
        much = trust / (1 + shape**2 * alike)
        log_power = np.minimum(shape * log_age, np.log(_MOST))
        ends, prior = worn * much, np.full(len(age), inverse_trigamma((shape * _STEP) ** 2))
        at, fit = log_odds(by_key, ends, np.exp(log_power) * much, prior)
        odds.append(at)
        seen = by_key.whole((ends * (np.log(shape) + log_power))[by_key.order])
        fits.append(log_prior + fit + seen)
    weight = np.stack(fits) - logsumexp(fits, axis=0)
    result: Floats = logsumexp(np.stack(odds) + weight, axis=0)
    return result


def _no_change_after(rows: Rows, odds: Floats, none: Floats) -> tuple[Floats, Floats]:
    """Chance that no change came after each place, and ln of all weights of its group.

    Args:
        rows: The groups.
        odds: ln weight of a change right after each place.
        none: ln weight of no change in its group.
    """
    odds = odds.copy()
    odds[rows.last] = -np.inf
    most = np.maximum(rows.most(odds), none)
    chance, rest = np.exp(odds - most), np.exp(none - most)
    since = np.maximum(rows.so_far(chance) - chance, 0.0)
    whole = rest + rows.whole(chance)
    return (rest + since) / whole, most + np.log(whole)


def _log_weight(ends: Floats, cut: Floats, prior: Floats) -> Floats:
    """Ln likelihood of lives whose rate is ``Gamma(prior, prior)``."""
    after = prior + ends
    result: Floats = gammaln(after) - gammaln(prior) + prior * np.log(prior)
    return result - after * np.log(prior + cut)
