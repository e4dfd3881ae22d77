"""What each life adds to its key's sums, under every law; the sums are all that a fit needs.

Each law has a closed form of the log likelihood of its ln scale (``crib.life.forms``). Lives
worn out or taken out early are of that form. Every other kind of life is matched to it:

- a failure between two ages that nobody saw;
- an edge taken out early at whose wear somebody looked;
- a record whose reason may be wrong.

Value, slope and curvature are those of the likelihood at a law known so far; where a life is
only known in part the curvature is that of the complete data less the missing information
(Louis 1982, from memory). So the sums stay additive, and one more life costs the same whether
it is the tenth or the ten-thousandth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import partial

import numpy as np
from scipy.special import logsumexp

from crib.arrays import Floats, Ints
from crib.life.forms import Form, Plain, of_survivors
from crib.life.law import FORMS, Law
from crib.life.looks import Looks, LooksTaken, slipped
from crib.life.observations import BROKEN, CENSORED, WORN, LifeHistories, seen_failures
from crib.life.reasons import Doubtful

_POINTS, _POINT_WEIGHTS = np.polynomial.legendre.leggauss(20)
#: Steps in which the mass of law times look is searched, and how far below the scale [1/k].
_COARSE, _FAR = 20, 14.0
_LEAST = 1e-250
#: Share of the curvature of the complete data that is left at least.
_LEAST_LEFT = 0.25


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums over lives in the form of each law, arrays of shape (cells, laws).

    Attributes:
        first: Worn edges under Weibull's law (in part where only a look says so), the
            precision of ln scale under the lognormal.
        second: Sum of ``(x / promise)^k``, or precision times ln scale.
        constant: What the form leaves over.
    """

    first: Floats
    second: Floats
    constant: Floats

    def plus(self, more: Sums) -> Sums:
        """These sums and more of the same cells."""
        names = [column.name for column in fields(self)]
        return Sums(*(getattr(self, name) + getattr(more, name) for name in names))


def looked_at(lives: LifeHistories) -> Ints:
    """Rows of lives that were taken out early and looked at."""
    return np.flatnonzero((lives.ended == CENSORED) & (lives.seen_kind > 0) & (lives.wear > 0))


def sums_of(
    cell: Ints,
    look_cell: Ints,
    cells: int,
    lives: LifeHistories,
    trust: Floats,
    law: Law,
    looks: Looks,
    doubtful: Doubtful | None = None,
    look_trust: Floats | None = None,
) -> Sums:
    """Add lives up by cell.

    Args:
        cell: Cell of each life, shape (lives,).
        look_cell: Cell of what looks add, of those ``looked_at``, shape (looked at,).
        cells: How many cells there are.
        lives: Believable lives.
        trust: Weight of each life from 0 to 1, shape (lives,).
        law: What is known of the keys so far; only looks and unseen failures lean on it.
        looks: What looks are worth.
        doubtful: Records whose reason may be wrong; None: all are right.
        look_trust: Weight of what looks add, shape (looked at,); None: that of their lives.
    """
    log_hi = np.log(np.maximum(lives.wear, 1e-12)) - law.promise[lives.key_index]
    log_lo = np.log(np.maximum(lives.since, 1e-12)) - law.promise[lives.key_index]
    exact = seen_failures(lives)
    between = np.flatnonzero((lives.ended == WORN) & ~exact)
    # A break ends no wear: the edge was good when last seen.
    log_age = np.where(lives.ended == BROKEN, log_lo, log_hi)
    seen = looked_at(lives)
    taken = looks.of_lives(lives.take(seen))
    promise = law.promise[lives.key_index[seen]]
    unseen = partial(_between, log_lo[between], log_hi[between])
    of_look = partial(_looked_at, log_hi[seen], promise, taken)
    special: list[tuple[Ints, Ints, Floats, _Matched]] = [
        (between, cell[between], trust[between], unseen),
        (seen, look_cell, trust[seen] if look_trust is None else look_trust, of_look),
    ]
    plain = trust.copy()
    plain[between] = 0.0
    if doubtful is not None:
        at_once = exact[doubtful.rows]
        rows, other = doubtful.rows[at_once], doubtful.log_other[at_once]
        of_either = partial(_of_doubtful_reason, log_hi[rows], doubtful.log_right, other)
        special.append((rows, cell[rows], trust[rows], of_either))
        plain[rows] = 0.0
    special = [one for one in special if len(one[0])]
    some = np.flatnonzero(plain)
    lives_plain = Plain(cell[some], cells, log_age[some], (plain * exact)[some], plain[some])
    result = Sums(*(np.empty((cells, len(FORMS))) for _ in range(3)))
    columns = (result.first, result.second, result.constant)
    for s, form in enumerate(FORMS):
        scale = law.scale[lives.key_index, s]
        for column, sums in zip(columns, form.plain(lives_plain, scale[some]), strict=True):
            column[:, s] = sums
        for rows, into, weight, match in special if law.counts[s] else ():
            terms = form.matched(*match(form, scale[rows]), scale[rows])
            for column, term in zip(columns, terms, strict=True):
                column[:, s] += np.bincount(into, weight * term, minlength=cells)
    return result


#: Value, slope and curvature of lives' log likelihood at a ln scale, under a law.
_Matched = Callable[[Form, Floats], tuple[Floats, Floats, Floats]]


def _between(
    log_lo: Floats, log_hi: Floats, form: Form, scale: Floats
) -> tuple[Floats, Floats, Floats]:
    """Of failures between two ages: ``ln (S(lo) - S(hi))``."""
    low, high = log_lo - scale, log_hi - scale
    alive = form.log_alive(low)
    failed = np.maximum(-np.expm1(form.log_alive(high) - alive), _LEAST)
    begin, end = (np.exp(np.minimum(form.log_density(w) - alive, 300.0)) for w in (low, high))
    slope = (begin - end) / failed
    bend = slope**2 - (begin * form.score(low) - end * form.score(high)) / failed
    # Far beyond both ages the terms cancel to nothing, and the next law would lie anywhere.
    least = _LEAST_LEFT * np.minimum(form.bend(high), form.bend(np.zeros_like(high)))
    return alive + np.log(failed), slope, np.maximum(bend, least)


def _of_doubtful_reason(
    log_age: Floats, log_right: float, log_other: Floats, form: Form, scale: Floats
) -> tuple[Floats, Floats, Floats]:
    """Of lives that ended by wear or for another reason: ``ln (A f + B S)``."""
    w = log_age - scale
    alive, hazard, survivors = of_survivors(form, w)
    log_wear, log_rest = log_right + form.log_density(w), log_other + alive
    value = np.logaddexp(log_wear, log_rest)
    worn, score = np.exp(log_wear - value), form.score(w)
    slope = worn * score + (1 - worn) * hazard
    known = worn * form.bend(w) + (1 - worn) * survivors
    return value, slope, _left_of(known, worn * (1 - worn) * (score - hazard) ** 2)


def _looked_at(
    log_age: Floats, promise: Floats, taken: LooksTaken, form: Form, scale: Floats
) -> tuple[Floats, Floats, Floats]:
    """What looks at edges add to their having lived so far: law times look, integrated."""

    def of_look(z: Floats) -> Floats:
        return taken.log_likelihood(taken.goes_with(z + promise[:, None]))

    def of_law(z: Floats) -> Floats:
        return form.log_density(z - scale[:, None])

    # All that matters lies beyond the age and where the law still leaves edges.
    start = np.maximum(log_age, scale - _FAR / form.steepness)
    end = np.maximum(form.at_end(scale), start + 1 / form.steepness)
    # First where the mass lies, then its integral there.
    step = (end - start) / _COARSE
    z = start[:, None] + step[:, None] * np.arange(_COARSE + 1)
    rough = of_law(z) + of_look(z)
    heavy = rough > rough.max(axis=1, keepdims=True) - 18
    low = np.argmax(heavy, axis=1) - 1
    high = _COARSE + 1 - np.argmax(heavy[:, ::-1], axis=1)
    end = np.minimum(start + step * high, end)
    start = start + step * np.maximum(low, 0)
    half = (end - start)[:, None] / 2
    z = start[:, None] + half * (_POINTS + 1)
    seen = of_look(z)
    log_f = of_law(z) + seen + np.log(half * _POINT_WEIGHTS)
    total = logsumexp(log_f, axis=1)
    weight = np.exp(log_f - total[:, None])
    w = z - scale[:, None]
    score = form.score(w)
    slope = np.sum(weight * score, axis=1)
    missing = np.sum(weight * (score - slope[:, None]) ** 2, axis=1)
    # One that is taken as wrong tells nothing, and holds no law where it is.
    right = 1 - np.sum(weight * slipped(seen), axis=1)
    bend = _left_of(np.sum(weight * form.bend(w), axis=1), missing, right)
    lived, fall, curve = of_survivors(form, log_age - scale)
    return total - lived, slope - fall, np.maximum(bend - curve, 0.0)


def _left_of(known: Floats, missing: Floats, right: Floats | float = 1.0) -> Floats:
    """Curvature of the complete data less what is missing of it.

    Where law and record contradict each other nothing might be left, and the next law would
    lie anywhere: a quarter stays, so that a pass never goes far beyond where the likelihood
    rises (with all of it left, it is a step of expectation and maximisation, which never does).
    """
    return np.maximum(known - missing, _LEAST_LEFT * right * np.maximum(known, 0.0))
