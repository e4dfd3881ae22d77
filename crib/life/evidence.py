"""What each life adds to its key's sums, at every shape; the sums are all that a fit needs.

With a Weibull shape k and rate ``L = theta^-k`` a worn life adds ``ln L - L x^k`` to the log
likelihood, one taken out early ``-L x^k``. Every other kind of life is brought to the same form
``d ln L - L b + c``:

- a failure between two ages that nobody saw;
- a life whose end is only known by a look at its wear.

By Fisher's identity and the missing information (Louis 1982, from memory) ``d = 1 - Var Q`` and
``b = (E Q - Var Q) / L`` have the likelihood's slope and curvature at a law known so far, where
``Q = L X^k`` given all that is known of X. So the sums stay additive, and one more life costs
the same whether it is the tenth or the ten-thousandth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.special import logsumexp, wrightomega

from crib.arrays import Floats, Ints
from crib.life.law import SHAPES, Law
from crib.life.looks import Looks
from crib.life.observations import BROKEN, CENSORED, WORN, LifeHistories

_NEARLY_EXACT = 1e-3
_POINTS, _POINT_WEIGHTS = np.polynomial.legendre.leggauss(20)
#: Looks less certain than this [ln life] are early ones, whose error many edges share.
_VAGUE = 0.35
_LEAST = 1e-250


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums over lives, arrays of shape (cells, shapes).

    Attributes:
        worn: ``d``, worn edges (in part where only a look says so).
        powers: ``b``, sum of ``(x / promise)^k``.
        constant: ``c``.
    """

    worn: Floats
    powers: Floats
    constant: Floats


def told_by_looks(lives: LifeHistories, looks: Looks) -> tuple[Ints, Floats, Floats]:
    """Rows of lives whose end only a look tells; ln life that it points at, its deviation."""
    rows = np.flatnonzero((lives.ended == CENSORED) & (lives.seen_kind > 0) & (lives.wear > 0))
    mean, deviation = looks.life_seen(
        lives.key_index[rows],
        lives.seen_kind[rows].astype(np.int64),
        lives.seen_share[rows],
        lives.seen_at[rows],
    )
    clear = deviation < _VAGUE
    return rows[clear], mean[clear], deviation[clear]


def sums_of(
    cell: Ints, cells: int, lives: LifeHistories, trust: Floats, law: Law, looks: Looks
) -> Sums:
    """Add lives up by cell.

    Args:
        cell: Cell of each life, shape (lives,).
        cells: How many cells there are.
        lives: Believable lives.
        trust: Weight of each life from 0 to 1, shape (lives,).
        law: What is known of the keys so far; only looks and unseen failures lean on it.
        looks: What looks are worth.
    """
    log_hi = np.log(np.maximum(lives.wear, 1e-12)) - law.promise[lives.key_index]
    log_lo = np.log(np.maximum(lives.since, 1e-12)) - law.promise[lives.key_index]
    worn = lives.ended == WORN
    between = np.flatnonzero(worn & (log_hi - log_lo > _NEARLY_EXACT))
    exact = worn.copy()
    exact[between] = False
    # A break ends no wear: the edge was good when last seen.
    log_age = np.where(lives.ended == BROKEN, log_lo, log_hi)
    seen, mean, deviation = told_by_looks(lives, looks)
    mean = mean - law.promise[lives.key_index[seen]]
    special: list[tuple[Ints, Callable[[Floats, float], tuple[Floats, ...]]]] = [
        (between, partial(_between, log_lo[between], log_hi[between])),
        (seen, partial(_looked_at, log_hi[seen], mean, deviation)),
    ]
    special = [(rows, form) for rows, form in special if len(rows)]
    plain = trust.copy()
    plain[between] = plain[seen] = 0.0
    ended = np.bincount(cell, plain * exact, minlength=cells).astype(np.float64)
    log_sum = np.bincount(cell, plain * exact * log_hi, minlength=cells)
    result = Sums(*(np.empty((cells, len(SHAPES))) for _ in range(3)))
    for s, shape in enumerate(SHAPES):
        power = np.exp(shape * log_age)
        power *= plain
        result.worn[:, s] = ended
        result.powers[:, s] = np.bincount(cell, power, minlength=cells)
        result.constant[:, s] = np.log(shape) * ended + shape * log_sum
        columns = (result.worn, result.powers, result.constant)
        for rows, form in special:
            terms = form(law.scale[lives.key_index[rows], s], float(shape))
            for column, term in zip(columns, terms, strict=True):
                column[:, s] += np.bincount(cell[rows], trust[rows] * term, minlength=cells)
    return result


def _between(
    log_lo: Floats, log_hi: Floats, scale: Floats, shape: float
) -> tuple[Floats, Floats, Floats]:
    """``d``, ``b`` and ``c`` of failures between two ages; Q is a cut exponential."""
    low = np.exp(np.minimum(shape * (log_lo - scale), 50.0))
    step = np.maximum(np.exp(np.minimum(shape * (log_hi - scale), 50.0)) - low, _LEAST)
    failed = -np.expm1(-step)
    expected = low + 1 - step * np.exp(-step) / failed
    # 1 - Var Q; by its series where the step is so small that the terms cancel.
    d = np.where(
        step < 1e-3, 1 - step**2 / 12, (step / failed) ** 2 * np.exp(-np.minimum(step, 700))
    )
    reach = np.maximum(expected - (1 - d), 0.0)
    log_chance = -low + np.log(failed)
    return d, reach * np.exp(shape * scale), log_chance + d * shape * scale + reach


def _looked_at(
    log_age: Floats, mean: Floats, deviation: Floats, scale: Floats, shape: float
) -> tuple[Floats, Floats, Floats]:
    """``d``, ``b`` and ``c`` of lives beyond their age whose end a look points at."""
    start, end = _where_the_mass_lies(log_age, mean, deviation, scale, shape)
    half = (end - start)[:, None] / 2
    z = start[:, None] + half * (_POINTS + 1)
    power = shape * (z - scale[:, None])
    q = np.exp(np.minimum(power, 50.0))
    log_f = (
        np.log(shape)
        + power
        - q
        - 0.5 * ((z - mean[:, None]) / deviation[:, None]) ** 2
        + np.log(half * _POINT_WEIGHTS)
    )
    total = logsumexp(log_f, axis=1)
    weight = np.exp(log_f - total[:, None])
    expected = np.sum(weight * q, axis=1)
    variance = np.sum(weight * (q - expected[:, None]) ** 2, axis=1)
    # Held from 0: a look far from the law says a little too much of the spread (up to a fifth
    # over many looks), but never pulls without end.
    d = np.clip(1 - variance, 0.0, 1.0)
    reach = np.maximum(expected - (1 - d), 0.0)
    b = reach * np.exp(shape * scale)
    # The constant makes the form meet the true likelihood at the law it was made at.
    return d, b, total + d * shape * scale + reach


def _where_the_mass_lies(
    log_age: Floats, mean: Floats, deviation: Floats, scale: Floats, shape: float
) -> tuple[Floats, Floats]:
    """Between which ln lives all but e^-18 of the peak of look times law lies."""
    # The peak solves y + ln y = ln c + c + k (mean - scale), y = c Q, c = (k deviation)^2.
    c = (shape * deviation) ** 2
    y = np.asarray(wrightomega(np.log(c) + c + shape * (mean - scale)), dtype=np.float64)
    q = np.maximum(y / c, 1e-12)
    peak = scale + np.log(q) / shape
    # The fall on either side is that of the look plus q (e^x - 1 - x), x = k (z - peak).
    steep, far = np.sqrt(36 / q), 6 * deviation
    start = np.maximum(log_age, peak - np.minimum(far, (steep + 18 / q) / shape))
    beyond = np.minimum(far, np.minimum(steep, np.log1p(18 / q) + 1) / shape)
    # Cut off beyond the peak it falls from the cut at once.
    at_cut = np.exp(np.minimum(shape * (log_age - scale), 50.0))
    fall = shape * (at_cut - 1) + (log_age - mean) / deviation**2
    bend = shape**2 * at_cut + deviation**-2
    with np.errstate(divide="ignore"):
        after_cut = np.minimum(18 / np.maximum(fall, 0.0), 6 / np.sqrt(bend))
    after_cut = np.maximum(after_cut, 1e-9)
    return start, np.where(log_age > peak, log_age + after_cut, peak + beyond)
