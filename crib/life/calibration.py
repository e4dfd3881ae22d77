"""Were the forecasts right: where lives fell in their forecasts, and what share inside.

A forecast is right when its statements hold as often as they say: the place of each life in
its own forecast (the probability integral transform) is then even between 0 and 1 (Dawid 1984,
Gneiting, Balabdaoui & Raftery 2007, from memory). Edges taken out early, or found failed after
hours with nobody there, leave an interval of places; shares are estimated from those by
nonparametric maximum likelihood (Turnbull 1976, which is Kaplan & Meier 1958 where lives are
only cut short).

A right forecast is no promise: the edge that fails first was in its interval too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats
from crib.errors import OutsideModel
from crib.life.held import Held, judge, partly_known
from crib.sentence import sentence

#: Shares of edges given out by then, in the order of every kept forecast.
KEPT_PROBS: Final = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)

#: Central intervals that are scored: the share they claim and where they begin and end.
INTERVALS: Final = ((0.5, 0.25, 0.75), (0.8, 0.1, 0.9), (0.9, 0.05, 0.95))

_CELLS: Final = 400
_STRETCHES: Final[Floats] = np.array(
    [0.0, 0.05, 0.1, 0.17, 0.25, 0.375, 0.5, 0.625, 0.75, 0.83, 0.9, 0.95]
)
_ROUNDS: Final = 500


def place_in_forecast(quantiles: ArrayLike, life: ArrayLike) -> Floats:
    """Share of like edges that the forecast said would have given out by then, shape (lives,).

    Arguments and what is refused: as ``hazard_in_forecast``.
    """
    place: Floats = -np.expm1(-hazard_in_forecast(quantiles, life))
    return place


def hazard_in_forecast(quantiles: ArrayLike, life: ArrayLike) -> Floats:
    """Cumulative hazard that the forecast put on the way there, ``-ln`` of the share alive.

    Between the quantiles, and beyond the outer ones, ``ln(-ln S)`` is straight in ``ln life``,
    as it is for Weibull's law.

    Args:
        quantiles: Life left at ``KEPT_PROBS``, rising, shape (lives, 7).
        life: Life that followed, in the same unit, from 0 up, shape (lives,).

    Returns:
        From 0 up, shape (lives,).

    Raises:
        OutsideModel: Quantiles that do not rise from above 0, or a life below 0.
    """
    q = np.atleast_2d(np.asarray(quantiles, dtype=np.float64))
    x = np.atleast_1d(np.asarray(life, dtype=np.float64))
    if q.shape != (len(x), len(KEPT_PROBS)):
        raise OutsideModel(sentence("Every life needs the seven quantiles of its forecast."))
    if not (np.isfinite(q).all() and (q[:, 0] > 0).all() and (np.diff(q, axis=1) > 0).all()):
        raise OutsideModel(sentence("The quantiles of a forecast rise from above 0."))
    if not (x >= 0).all():
        raise OutsideModel(
            sentence("A life is a number from 0 up."), facts={"quantity": "life"}
        )
    knots, level = np.log(q), np.log(-np.log1p(-np.array(KEPT_PROBS)))
    with np.errstate(divide="ignore"):
        log_x = np.log(x)
    piece = np.clip((log_x[:, None] >= knots).sum(axis=1) - 1, 0, len(KEPT_PROBS) - 2)
    row = np.arange(len(x))
    slope = (level[piece + 1] - level[piece]) / (knots[row, piece + 1] - knots[row, piece])
    log_hazard = level[piece] + slope * (log_x - knots[row, piece])
    hazard: Floats = np.exp(np.minimum(log_hazard, 700.0))
    return hazard


@dataclass(frozen=True, slots=True)
class Places:
    """Where lives fell in their forecasts, arrays of shape (forecasts,).

    Attributes:
        low: Place known to be reached.
        high: Place known not to be passed; 1 for edges taken out early, ``low`` where known.
        weight: What each counts: the forecasts of one edge share 1.
    """

    low: Floats
    high: Floats
    weight: Floats

    def take(self, rows: Bools) -> Places:
        """Only the rows marked True."""
        return Places(self.low[rows], self.high[rows], self.weight[rows])


def places(low: ArrayLike, high: ArrayLike, weight: ArrayLike | None = None) -> Places:
    """Places from anything array-like.

    Raises:
        OutsideModel: Unequal lengths, or a place outside 0 to 1 or that ends before it begins.
    """
    lo = np.atleast_1d(np.asarray(low, dtype=np.float64))
    hi = np.atleast_1d(np.asarray(high, dtype=np.float64))
    w = np.ones(len(lo)) if weight is None else np.atleast_1d(np.asarray(weight, np.float64))
    if not lo.shape == hi.shape == w.shape:
        raise OutsideModel(sentence("Every place needs a begin, an end and a weight."))
    if not ((lo >= 0) & (lo <= hi) & (hi <= 1) & (w > 0)).all():
        raise OutsideModel(sentence("A place lies from 0 to 1 and has a weight above 0."))
    return Places(lo, hi, w)


def place_distribution(seen: Places) -> Floats:
    """Share of places up to each of 401 even steps from 0 to 1, shape (401,).

    Nonparametric maximum likelihood under interval censoring by self-consistency (Turnbull
    1976), started from what the forecasts claim: where nothing was seen, their claim stands.
    """
    if not len(seen.low):
        return np.linspace(0.0, 1.0, _CELLS + 1)
    known = seen.high <= seen.low
    first = np.minimum((seen.low * _CELLS).astype(np.int64), _CELLS - 1)
    # one last good in a cell counts as good through it, as Kaplan and Meier have it
    first = np.where(known | (seen.low <= 0), first, np.minimum(first + 1, _CELLS - 1))
    last = np.where(known, first + 1, np.ceil(seen.high * _CELLS).astype(np.int64))
    last = np.clip(last, first + 1, _CELLS)
    share = np.full(_CELLS, 1.0 / _CELLS)
    upto = np.zeros(_CELLS + 1)
    bounds, total = np.concatenate([first, last]), seen.weight.sum()
    for _ in range(_ROUNDS):
        share.cumsum(out=upto[1:])
        pull = seen.weight / np.maximum(upto[last] - upto[first], 1e-300)
        steps = np.bincount(bounds, np.concatenate([pull, -pull]), _CELLS + 1)
        following = share * (steps.cumsum()[:-1] / total)
        moved = np.abs(following - share).sum()
        share = np.maximum(following, 0.0)
        if moved < 1e-7:
            break
    share.cumsum(out=upto[1:])
    result: Floats = upto / upto[-1]
    return result


def intervals_held(seen: Places) -> tuple[Held, ...]:
    """Coverage of each of ``INTERVALS`` by lives that may be known in part only.

    Args:
        seen: Places; the forecasts of one edge share a weight of 1, so that the band is one by
            edges (forecasts of the same edge are not independent).
    """
    if not len(seen.low):
        return tuple(judge(claimed, 0.0, 0.0) for claimed, _, _ in INTERVALS)
    upto = place_distribution(seen)
    hazards = _hazards(seen, upto)
    return tuple(_interval(seen, upto, hazards, *interval) for interval in INTERVALS)


def _interval(
    seen: Places,
    upto: Floats,
    hazards: tuple[tuple[Floats, Floats], ...],
    claimed: float,
    begin: float,
    end: float,
) -> Held:
    grid = np.linspace(0.0, 1.0, _CELLS + 1)
    share = float(np.interp(end, grid, upto) - np.interp(begin, grid, upto))
    share = min(max(share, 0.0), 1.0)
    exact = seen.high <= seen.low
    inside = (seen.low >= begin) & (seen.high <= end)
    outside = np.where(exact, ~inside, (seen.high <= begin) | (seen.low >= end))
    known = np.where(inside, 1, np.where(outside, 0, -1)).astype(np.int8)
    # chance to lie inside of those that may: what is still open of an edge is no trial
    low, high = np.maximum(seen.low, begin), np.minimum(seen.high, end)
    reach = np.interp(seen.high, grid, upto) - np.interp(seen.low, grid, upto)
    common = np.interp(high, grid, upto) - np.interp(low, grid, upto)
    chance = np.clip(common / np.maximum(reach, 1e-12), 0.0, 1.0)
    found = partly_known(claimed, share, chance, known, seen.weight)
    # the chances are only as well known as the stretches of places that edges went through
    trials = min(found.trials, *(_worth(*one, begin, end) for one in hazards))
    return replace(
        judge(claimed, share, trials),
        known_held=found.known_held,
        known_failed=found.known_failed,
    )


def _worth(hazard: Floats, doubt: Floats, begin: float, end: float) -> float:
    """How many edges with known ends would tell the share of an interval as well."""
    before, after = (int(np.searchsorted(_STRETCHES, edge)) for edge in (begin, end))
    first, last = np.exp(-np.array([hazard[:before].sum(), hazard[:after].sum()]))
    share = first - last
    variance = share**2 * doubt[:before].sum() + last**2 * doubt[before:after].sum()
    return float(share * (1 - share) / variance)


def _hazards(seen: Places, upto: Floats) -> tuple[tuple[Floats, Floats], ...]:
    """Cumulative hazard over each stretch of places, and its variance: as seen, as claimed.

    Both are looked at: few events where more were claimed must not look like sure knowledge.

    Events over exposure, stretch by stretch, as in a piecewise exponential model (Holford
    1980, from memory); one more edge that fell as claimed keeps stretches finite that none
    went through. Exposure is counted in the hazard claimed, ``-ln(1 - place)``.
    """
    with np.errstate(divide="ignore"):
        edges = -np.log1p(-_STRETCHES)
        reached = -np.log1p(-np.minimum((seen.low + seen.high) / 2, 1.0))
        good = -np.log1p(-np.minimum(seen.low, 1.0))
    over = seen.high < 1
    through = np.where(over, reached, good)[:, None]
    exposure = np.clip(through, edges[:-1], edges[1:]) - edges[:-1]
    grid = np.linspace(0.0, 1.0, _CELLS + 1)
    low, high = seen.low[:, None], np.maximum(seen.high, seen.low + 1e-9)[:, None]
    cut = np.clip(_STRETCHES, low, high)
    mass = np.diff(np.interp(cut, grid, upto) + 1e-9 * cut, axis=1)
    events = np.where(over[:, None], mass / (mass.sum(axis=1, keepdims=True) + 1e-300), 0.0)
    claim = np.diff(_STRETCHES)
    count = claim + (seen.weight[:, None] * events).sum(axis=0)
    wanted = claim + (seen.weight[:, None] * exposure).sum(axis=0)
    length = np.diff(edges)
    hazard = count / wanted * length
    claimed = claim * (1 + seen.weight.sum() * _not_cut_short(seen))
    return (hazard, hazard**2 / count), (length, length**2 / claimed)


def _not_cut_short(seen: Places) -> Floats:
    """Share of edges that would not be taken out before each stretch of places.

    Kaplan and Meier's estimate, of the taking out instead of the failing.
    """
    over, many = seen.high < 1, len(_STRETCHES)
    reached = np.where(over, (seen.low + seen.high) / 2, seen.low)
    stretch = np.searchsorted(_STRETCHES, reached, side="right") - 1
    at_risk = np.bincount(stretch, seen.weight, many)[::-1].cumsum()[::-1]
    taken_out = np.bincount(stretch[~over], seen.weight[~over], many)
    leaves = taken_out / np.maximum(at_risk, 1e-12)
    before = np.concatenate([[1.0], np.cumprod(1 - leaves)])[: many - 1]
    share: Floats = before * (1 - leaves[: many - 1] / 2)
    return share


def pinball(quantiles: ArrayLike, life: ArrayLike) -> Floats:
    """Mean loss over ``KEPT_PROBS`` of each forecast, in units of its median, shape (lives,).

    ``(p - [x < q]) (x - q)``: least on average for the true quantiles (Koenker & Bassett 1978,
    from memory). Only for lives that are known; smaller is better.
    """
    q = np.atleast_2d(np.asarray(quantiles, dtype=np.float64))
    x = np.atleast_1d(np.asarray(life, dtype=np.float64))[:, None]
    p = np.array(KEPT_PROBS)
    loss: Floats = ((p - (x < q)) * (x - q)).mean(axis=1) / q[:, 3]
    return loss
