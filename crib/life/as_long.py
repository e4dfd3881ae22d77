"""Did edges last as long as forecast: failures expected over all wear made, against those seen.

Each forecast in force is a hazard. Summed over the wear that an edge made under it, it is the
number of failures expected of it; whether it failed, less that number, is its martingale
residual (Fleming & Harrington 1991, Barlow & Prentice 1988, from memory). Every edge counts:
worn, broken, taken out early, running. A failure that nobody saw lies somewhere in a stretch.

The forecasts in force are used one after the other, each with all that was known by then. Then
what edges have in common, a material or a box that nobody knew of yet, calls no right
forecast wrong.

People look every day, so a usual test would cry wrong in the end. Instead the likelihood of
wrong forecasts over that of the ones shown is summed: under right ones it passes 20 at any time
in at most one shop of twenty (Ville 1939; Shafer 2021, Ramdas et al. 2023, from memory). Wrong
are lives some 10, 20 or 60 % longer or shorter, and ends nearer to the median or farther from
it; from the first block of time on, or from a later one, as right forecasts can turn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize_scalar

from crib.arrays import Bools, Floats, Ints
from crib.errors import OutsideModel
from crib.sentence import sentence

AS_FORECAST: Final = "as_forecast"
SHORTER: Final = "shorter"
LONGER: Final = "longer"
WIDER: Final = "wider"
NARROWER: Final = "narrower"
TOO_FEW: Final = "too_few"

#: Shares of a key's new edges that are worn out where one stage of life ends and the next
#: begins: early, up to the median, beyond it, late.
STAGE_ENDS: Final = (0.1, 0.5, 0.9)

#: Odds against the forecasts from which on they are called wrong: one right shop in twenty.
CALLED_WRONG: Final = 20.0

#: How sure a forecast wrong by a fifth has to be noticed before silence counts as right.
_FIFTH: Final = float(np.log(1.2))
_NINE_OF_TEN: Final = 1.2816

_KINDS: Final = (SHORTER, LONGER, WIDER, NARROWER)
#: (ln life, ln width, weight) of each kind of wrong forecast.
_WRONG: Final = (
    (SHORTER, -_FIFTH, 0.0, 0.28),
    (SHORTER, -0.1, 0.0, 0.06),
    (SHORTER, -0.5, 0.0, 0.06),
    (LONGER, _FIFTH, 0.0, 0.28),
    (LONGER, 0.1, 0.0, 0.06),
    (LONGER, 0.5, 0.0, 0.06),
    (WIDER, 0.0, float(np.log(1.5)), 0.1),
    (NARROWER, 0.0, -float(np.log(1.5)), 0.1),
)
#: Weight of forecasts that were wrong from the first block on; later ones share the rest.
_FROM_THE_FIRST: Final = 0.7
#: Farthest that ln life is looked for from that forecast.
_FARTHEST: Final = 2.0
#: Forecasts nearer than this to the lives are right enough for any swap: common practice, no
#: source.
_CLOSE: Final = float(np.log(1.06))
#: Hazard from which on a piece tells no more: a forgotten removal must not outweigh the shop.
_ENOUGH: Final = float(np.log(100))
_TINY: Final = 1e-9


@dataclass(frozen=True, slots=True)
class WearMade:
    """Wear that edges made, each piece under the forecast in force; arrays by piece.

    Attributes:
        good: Hazard forecast until the edge was last known good, shape (pieces, stages).
        unseen: The same from then until it was known to have failed; 0 where seen at once.
        failed: Whether it failed in the piece.
        stage: Stage of life in which it was when it was known to have failed.
        slope: Slope of the forecast's ln hazard over ln life.
        block: Number of the block of time that the forecast was shown in, from 0.
    """

    good: Floats
    unseen: Floats
    failed: Bools
    stage: Ints
    slope: Floats
    block: Ints

    def __len__(self) -> int:
        return len(self.failed)

    def take(self, rows: Ints | Bools) -> WearMade:
        """Some of the pieces."""
        return WearMade(
            self.good[rows],
            self.unseen[rows],
            self.failed[rows],
            self.stage[rows],
            self.slope[rows],
            self.block[rows],
        )


def wear_made(
    good: ArrayLike,
    unseen: ArrayLike,
    failed: ArrayLike,
    stage: ArrayLike,
    slope: ArrayLike,
    block: ArrayLike | None = None,
) -> WearMade:
    """Wear made from anything array-like.

    An edge that outlived 99 of 100 by one forecast counts to there and no further.

    Raises:
        OutsideModel: Unequal lengths, a hazard below 0 or none, a slope not above 0.
    """
    many = len(STAGE_ENDS) + 1
    h, dark = (np.asarray(v, dtype=np.float64).reshape(-1, many) for v in (good, unseen))
    over = np.atleast_1d(np.asarray(failed)).astype(np.bool_)
    where = np.atleast_1d(np.asarray(stage, dtype=np.int64))
    k = np.atleast_1d(np.asarray(slope, dtype=np.float64))
    when = np.zeros(len(k), np.int64) if block is None else np.asarray(block, dtype=np.int64)
    if {len(one) for one in (h, dark, over, where, k, when)} != {len(k)}:
        raise OutsideModel(sentence("Every piece of wear needs its hazards, end and slope."))
    right = np.isfinite(h).all(axis=1) & (h >= 0).all(axis=1)
    right &= np.isfinite(dark).all(axis=1) & (dark >= 0).all(axis=1)
    right &= (k > 0) & np.isfinite(k) & (where >= 0) & (where < many) & (when >= 0)
    if not right.all():
        raise OutsideModel(
            sentence("A hazard is a number from 0 up, and a slope is above 0."),
            facts={"row": int(np.flatnonzero(~right)[0])},
        )
    upto = np.minimum(h.cumsum(axis=1), _ENOUGH)
    over &= h.sum(axis=1) <= _ENOUGH
    h = np.diff(upto, axis=1, prepend=0.0)
    return WearMade(h, dark, over, where, k, when)


@dataclass(frozen=True, slots=True)
class AsLong:
    """Failures expected and seen, and what follows from it.

    Attributes:
        expected: Failures that the forecasts expected over the wear made.
        seen: Failures.
        needed: Failures expected from which on a forecast wrong by a fifth is noticed.
        life_factor: Life seen over life forecast that explains them best; None without wear.
        odds: How much likelier wrong forecasts make what was seen than the ones shown.
        verdict: as_forecast, shorter, longer, wider, narrower or too_few.
        from_block: Block of time from which on this holds.
    """

    expected: float
    seen: int
    needed: float | None
    life_factor: float | None
    odds: float
    verdict: str
    from_block: int


def as_long(made: WearMade, groups: int = 1) -> AsLong:
    """Whether edges lasted as long as forecast, however often one asks.

    Args:
        made: Wear made under forecasts.
        groups: How many groups are looked at side by side; of right ones, at most one shop in
            twenty sees any called wrong.
    """
    log_odds = _log_odds(made)
    most = float(log_odds.max())
    shares = np.exp(log_odds - most)
    odds = float(np.exp(min(most + np.log(shares.sum()), 600.0)))
    if odds >= CALLED_WRONG * groups:
        kinds = np.array([kind for kind, *_ in _WRONG])
        verdict = max(_KINDS, key=lambda kind: float(shares[kinds == kind].sum()))
        begin = int(log_odds[kinds == verdict].max(axis=0).argmax())
        told = _told(made.take(made.block >= begin), odds, verdict, begin)
        if verdict not in (SHORTER, LONGER) or _off(told) >= _CLOSE:
            return told
    told = _told(made, odds, AS_FORECAST, 0)
    if told.needed is None or told.expected < told.needed:
        return replace(told, verdict=TOO_FEW)
    return told


def expected_failures(made: WearMade) -> Floats:
    """Failures that the forecast expected in each piece, shape (pieces,).

    Of one that failed unseen: the mean of the hazard up to the failure, given the stretch.
    """
    unseen = made.unseen.sum(axis=1)
    safe = np.maximum(unseen, _TINY)
    into = np.where(unseen > _TINY, 1 - safe / np.expm1(np.minimum(safe, 600.0)), 0.0)
    expected: Floats = made.good.sum(axis=1) + np.where(made.failed, into, 0.0)
    return expected


def log_likelihood(made: WearMade, log_life: float, log_width: float = 0.0) -> Floats:
    """Of each piece, over that by the forecast itself, if life or its width were otherwise.

    Longer lives divide the hazard by the factor to the power of the slope; a greater width
    stretches the distance to the median, which raises the hazard early and lowers it late.
    """
    life, stages = np.exp(-made.slope * log_life), _by_stage(log_width)
    result: Floats = made.good.sum(axis=1) - life * (made.good @ stages)
    over = np.flatnonzero(made.failed)
    unseen = made.unseen[over]
    dark, darker = unseen.sum(axis=1), life[over] * (unseen @ stages)
    with np.errstate(divide="ignore", invalid="ignore"):
        in_stretch = np.log(-np.expm1(-darker)) - np.log(-np.expm1(-dark))
    at_once = np.log(life[over] * stages[made.stage[over]])
    result[over] += np.where(dark > _TINY, in_stretch, at_once)
    return result


def _by_stage(log_width: float) -> Floats:
    """Hazard over that forecast in each stage, for lives stretched about their median."""
    ends = np.array([0.0, *-np.log1p(-np.array(STAGE_ENDS)), -np.log1p(-0.99)])
    stretched = np.log(2) * (ends / np.log(2)) ** np.exp(-log_width)
    ratio: Floats = np.diff(stretched) / np.diff(ends)
    return ratio


def _log_odds(made: WearMade) -> Floats:
    """Of each kind of wrong forecast from each block on, weighed; shape (kinds, blocks)."""
    blocks = int(made.block.max()) + 1 if len(made) else 1
    of_block = np.stack(
        [
            np.bincount(made.block, log_likelihood(made, life, width), blocks)
            for _, life, width, _ in _WRONG
        ]
    )
    since = of_block[:, ::-1].cumsum(axis=1)[:, ::-1]
    begins = np.full(blocks, (1 - _FROM_THE_FIRST) / max(blocks - 1, 1))
    begins[0] = _FROM_THE_FIRST if blocks > 1 else 1.0
    weight = np.array([one[3] for one in _WRONG])
    result: Floats = since + np.log(weight)[:, None] + np.log(begins)
    return result


def _off(told: AsLong) -> float:
    return abs(float(np.log(told.life_factor or 1.0)))


def _told(made: WearMade, odds: float, verdict: str, begin: int) -> AsLong:
    by_piece = expected_failures(made)
    expected = float(by_piece.sum())
    if expected <= 0:
        return AsLong(0.0, int(made.failed.sum()), None, None, odds, verdict, begin)
    # the information on ln life is the sum of the slopes squared over the failures expected
    known = float((made.slope**2 * by_piece).sum())
    wanted = np.sqrt(2 * np.log(CALLED_WRONG / _WRONG[0][3])) + _NINE_OF_TEN
    best = minimize_scalar(
        lambda shift: -float(log_likelihood(made, shift).sum()),
        bounds=(-_FARTHEST, _FARTHEST),
        method="bounded",
        options={"xatol": 1e-6},
    )
    return AsLong(
        expected,
        int(made.failed.sum()),
        float(expected * (wanted / _FIFTH) ** 2 / known),
        float(np.exp(best.x)),
        odds,
        verdict,
        begin,
    )
