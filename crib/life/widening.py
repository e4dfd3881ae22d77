"""How much wider a key's forecasts have to be, learned from what followed the ones shown.

About its median, the wear-out life that a forecast stood on is taken as two pieces of Weibull's
law (``ln(-ln S)`` straight in ``ln x``), one below the median and one above, through its 10 %
and 90 % points. Widening by w stretches the distance to the median in ln life by w. How far
lives really fell from the medians says which w was needed: its likelihood is exact for edges
taken out early (at least so far), broken (worn out at least so far), found failed after hours
with nobody there (in between) and for forecasts of edges already worn (given they got there).

The factors of the keys scatter about the shop's, which is held at 1; recent lives count more,
so that a key whose forecasts ran wrong earns its trust again. Forecasts that prove too wide
are left as they are: a factor is never below 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats, Ints
from crib.errors import OutsideModel
from crib.sentence import sentence

#: How many lives back one counts half at most: about the last thirty tell.
HALF_LIFE: Final = 15.0

#: What the shop's factor of 1, and a key's being like the shop's, are worth in lives.
PRIOR_LIVES: Final = 10.0

#: Forecasts that ran wronger than this are of no use to anybody.
MOST: Final = 5.0

_LOG_W: Final[Floats] = np.linspace(-1.8, 1.8, 61)
# n exact lives tell ln w to a variance of 1/(2n), the information on the scale of a normal law
_SHOP_SD: Final = (2 * PRIOR_LIVES) ** -0.5
_KEY_SDS: Final = _SHOP_SD * np.array([0.15, 0.4, 1.0, 1.6])
_BELOW, _ABOVE = np.log(np.log(2) / -np.log(0.9)), np.log(np.log(10) / np.log(2))
_MEDIAN_HAZARD: Final = float(np.log(2))
_LEAST_WEIGHT: Final = 0.02
_LEAST_HALF_LIFE: Final = 3.0


@dataclass(frozen=True, slots=True)
class ShownLives:
    """First forecasts of edges and what followed, arrays of shape (edges,), oldest first.

    Attributes:
        key: Number of the key, from 0.
        p10: Wear-out life of a new edge that 10 % do not reach, as shown [wear units].
        p50: Its median.
        p90: Life that 10 % reach.
        widening: Factor that was in force when it was shown.
        age: Wear on the edge then.
        since: Wear at which the edge was last known not to be worn out.
        wear: Wear at which it was known to be; infinite where it never was.
        running: Whether the edge goes on still.
    """

    key: Ints
    p10: Floats
    p50: Floats
    p90: Floats
    widening: Floats
    age: Floats
    since: Floats
    wear: Floats
    running: Bools

    def __len__(self) -> int:
        return len(self.key)


def shown_lives(
    key: ArrayLike,
    p10: ArrayLike,
    p50: ArrayLike,
    p90: ArrayLike,
    widening: ArrayLike,
    age: ArrayLike,
    since: ArrayLike,
    wear: ArrayLike,
    running: ArrayLike | None = None,
) -> ShownLives:
    """Shown lives from anything array-like, in the order in which the edges began.

    A life known exactly has ``since`` equal to ``wear``. Where edges that go on are left out,
    those that live long are missed: then order the others by their end.

    Raises:
        OutsideModel: Unequal lengths, quantiles that do not rise from above 0, a factor below
            1, an age below 0, a life that ends before the forecast or before it was last good.
    """
    numbers = [
        np.atleast_1d(np.asarray(v, dtype=np.float64))
        for v in (p10, p50, p90, widening, age, since, wear)
    ]
    keys = np.atleast_1d(np.asarray(key, dtype=np.int64))
    going = np.zeros(keys.shape) if running is None else np.atleast_1d(np.asarray(running))
    if {one.shape for one in (*numbers, going)} != {keys.shape}:
        raise OutsideModel(
            sentence("Every shown life needs a key, quantiles, a factor, age and end.")
        )
    low, mid, high, w, a, s, x = numbers
    right = (
        (keys >= 0)
        & (low > 0)
        & (low < mid)
        & (mid < high)
        & np.isfinite(high)
        & (w >= 1)
        & np.isfinite(w)
        & (a >= 0)
        & (a <= s)
        & np.isfinite(s)
        & (s <= x)
    )
    if not right.all():
        raise OutsideModel(
            sentence(
                "A shown life has rising quantiles, a factor from 1, and ends after its "
                "forecast."
            ),
            facts={"row": int(np.flatnonzero(~right)[0])},
        )
    return ShownLives(keys, low, mid, high, w, a, s, x, going.astype(np.bool_))


def widening(shown: ShownLives, keys: int) -> Floats:
    """Factor by which to widen each key's life about its median in ln life, shape (keys,).

    Args:
        shown: First forecasts of edges and what followed, oldest first.
        keys: How many keys there are; those without lives get the shop's factor.

    Returns:
        Factors from 1 to ``MOST``; posterior means of ln w, held at 1 from below.

    Raises:
        OutsideModel: A key beyond ``keys``.
    """
    if len(shown) and int(shown.key.max()) >= keys:
        raise OutsideModel(sentence("A shown life belongs to a key that is not counted."))
    seen, place = np.unique(shown.key, return_inverse=True)
    weighed = _log_likelihood(shown) * _recency(shown)[:, None]
    by_key = np.zeros((len(seen), len(_LOG_W)))
    np.add.at(by_key, place, weighed)
    by_key -= by_key.max(axis=1, keepdims=True) if len(seen) else 0.0
    # p(w | shop's factor, spread between keys), shape (spreads, shop's, own)
    distance = np.subtract.outer(_LOG_W, _LOG_W)
    scatter = np.exp(-0.5 * (distance / _KEY_SDS[:, None, None]) ** 2)
    scatter /= scatter.sum(axis=2, keepdims=True)
    likelihood, flat = np.exp(by_key), scatter.reshape(-1, len(_LOG_W)).T
    shape = (len(seen), *scatter.shape[:2])
    share = likelihood @ flat + 1e-300
    own = ((likelihood * _LOG_W) @ flat / share).reshape(shape)
    shop = np.log(share).reshape(shape).sum(axis=0) - 0.5 * (_LOG_W / _SHOP_SD) ** 2
    answer = np.full(keys, _mean(shop, np.einsum("tsw,w->ts", scatter, _LOG_W)))
    # each key's own lives are in the shop's posterior already
    answer[seen] = [_mean(shop, of_key) for of_key in own]
    factors: Floats = np.exp(np.clip(answer, 0.0, np.log(MOST)))
    return factors


def _mean(log_weights: Floats, values: Floats) -> float:
    weights = np.exp(log_weights - log_weights.max())
    return float((weights * values).sum() / weights.sum())


def _recency(shown: ShownLives) -> Floats:
    """Weight of each life: the newest of a key counts 1, older ones ever less.

    With few lives seen, the forecasts of before were made with half as many: they say little
    of those made now, so one half back counts half already. Where many edges of a key run
    side by side, the newest are all running: they tell little, and those that ended before
    them must count still.
    """
    key = shown.key
    order = np.lexsort((np.arange(len(key)), key))
    ends = np.searchsorted(key[order], key[order], side="right")
    back = np.empty(len(key))
    back[order] = ends - 1 - np.arange(len(key))
    many = np.bincount(key).astype(np.float64)
    beside = np.bincount(key, shown.running, len(many))
    half = np.clip((many - beside) / 2, _LEAST_HALF_LIFE, HALF_LIFE) + beside
    weight = np.exp2(-back / half[key])
    return np.where(weight < _LEAST_WEIGHT, 0.0, weight)


def _log_likelihood(shown: ShownLives) -> Floats:
    """Of each life at each factor of the grid, shape (edges, factors)."""
    below = shown.widening * _BELOW / np.log(shown.p50 / shown.p10)
    above = shown.widening * _ABOVE / np.log(shown.p90 / shown.p50)
    factors = np.exp(_LOG_W)

    def hazard(age: Floats) -> tuple[Floats, Floats, Floats]:
        with np.errstate(divide="ignore"):
            distance = np.log(age) - np.log(shown.p50)
        slope = np.where(distance < 0, below, above)[:, None] / factors
        # a single life, however odd, does not outweigh all others
        log_h = np.clip(slope * distance[:, None] + np.log(_MEDIAN_HAZARD), -700, 6.5)
        return np.where((age > 0)[:, None], np.exp(log_h), 0.0), log_h, slope

    exact = shown.since >= shown.wear
    before, _, _ = hazard(shown.age)
    good, log_good, slope = hazard(shown.since)
    gone, _, _ = hazard(np.where(np.isfinite(shown.wear), shown.wear, 1.0))
    gone = np.where(np.isfinite(shown.wear)[:, None], gone, np.inf)
    between = np.maximum(-np.expm1(-np.maximum(gone - good, 0.0)), 1e-300)
    tail = np.where(exact[:, None], log_good + np.log(slope), np.log(between))
    log_likelihood: Floats = before - good + tail
    return log_likelihood
