"""What a look at an edge's wear says of its life, and how far such looks can be trusted.

A look is a measured wear land, or the growth that size corrections followed, as a share of the
limit. With a steady wear rate the share is the used part y of the life, but for a run-in at the
beginning (ISO 3685 gives the land as criterion and its three phases; the growth is worn-flank
geometry): ``ln share = level + ln(r + (1 - r) y) + error``. Level, run-in r and the error,
which grows away from the limit, are learned for each kind of look from edges that were worn
out, best from looks in the middle of their lives. Edges taken out early are not asked: what
they say hangs on the very law that looks are to correct.

A size is corrected when a part is found out, and parts scatter: the part found is one of the
worst, so that corrections run ahead of the land by a part of the scatter. They read as if the
run-in were larger. Until worn edges show how much, that is expected: else a shop that swaps at
the word of its corrections swaps too soon, and no edge is ever worn out to say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import log_ndtr

from crib.arrays import Bools, Floats, Ints
from crib.life.observations import LAND_SEEN, SIZE_SEEN, WORN, LifeHistories, per_key

_KINDS: Final = 3
# Prior of a look before any was checked: common practice, no source.
_ERROR, _ERROR_WORTH = 0.20, 6.0
_LEVEL_SD, _KEY_SD = 0.10, 0.10
_RUN_IN, _RUN_IN_SD, _MOST_RUN_IN = 0.15, 0.08, 0.45
#: The same for size corrections, the scatter of parts that sets them off included.
_SIZE_RUN_IN, _SIZE_RUN_IN_SD = 0.35, 0.10
# The error grows away from the limit, with ``1 / share - 1``: a small land is read less well,
# and edges run in differently.
_GROWTH, _GROWTH_WORTH = 0.15, 10.0
_LEAST_GROWTH, _MOST_GROWTH = 0.03, 0.6
#: Lands are the reason why edges are worn out; but where a land is small and the edge fails
#: all the same, or holds far beyond, they say less of its own life.
_TIE, _TIE_SD = 0.8, 0.3
_CLIP: Final = 3.0
_SHARED, _SHARED_WORTH, _LEAST_SHARED = 0.60, 6.0, 0.07
_MIDDLE: Final = 0.9
_EARLIEST: Final = -4.0
#: Age over life beyond which a land says no more.
_LOG_PAST: Final = float(np.log(1.25))
#: Least share of a life that is read off a land.
_LEAST_USED: Final = 0.05
#: Share of looks that are wrong in ways of their own, and how wide those lie [ln share].
_SLIPS = 0.05
_LOG_SLIP: Final = float(np.log(_SLIPS / 3.0))


@dataclass(frozen=True, slots=True)
class Looks:
    """How looks relate to life.

    Attributes:
        level: ``ln share`` at the end of life, shape (kinds, keys).
        run_in: Share of the limit that the run-in takes, shape (kinds,).
        error: Standard deviation of ``ln share`` at the limit, shape (kinds,).
        growth: What is added to it per unit of ``1 / share - 1``, shape (kinds,).
        tie: How far the land goes with the edge's own life, shape (kinds,): 1 it goes with
            nothing else, 0 it goes with the key's usual life alone.
        shared: Deviation of ln life that all looks may have wrong in common.
        usual: ln usual life of each key [wear units], shape (keys,).
        doubt: Variance of it.
    """

    level: Floats
    run_in: Floats
    error: Floats
    growth: Floats
    tie: Floats
    shared: float
    usual: Floats
    doubt: Floats

    def at(self, key: Ints, kind: Ints, share: Floats, at: Floats) -> LooksTaken:
        """Looks at edges, with what each kind is worth; all arrays of shape (looks,)."""
        return LooksTaken(
            np.log(share) - self.level[kind, key],
            np.log(np.maximum(at, 1e-12)),
            self.run_in[kind],
            self.error[kind],
            self.growth[kind],
            self.tie[kind],
            self.usual[key],
            self.doubt[key],
        )

    def of_lives(self, lives: LifeHistories) -> LooksTaken:
        """The looks at edges all of which were looked at."""
        kind = lives.seen_kind.astype(np.int64)
        return self.at(lives.key_index, kind, lives.seen_share, lives.seen_at)


@dataclass(frozen=True, slots=True)
class LooksTaken:
    """Looks at edges, arrays of shape (looks,).

    Attributes:
        log_share: ln share of the limit that was seen, less the level of such looks.
        log_at: ln wear units at which it was.
        run_in: Share of the limit that the run-in takes.
        error: Standard deviation of ``ln share`` at the limit.
        growth: What is added to it per unit of ``1 / share - 1``.
        tie: How far the land goes with the edge's own life.
        usual: ln usual life of its key.
        doubt: Variance of it.
    """

    log_share: Floats
    log_at: Floats
    run_in: Floats
    error: Floats
    growth: Floats
    tie: Floats
    usual: Floats
    doubt: Floats

    def goes_with(self, log_life: Floats) -> Floats:
        """Ln life that the land goes with: the edge's own, and the key's usual one.

        Args:
            log_life: ln life of the edge, shape (looks, lives).
        """
        tie = self.tie[:, None]
        result: Floats = tie * log_life + (1 - tie) * self.usual[:, None]
        return result

    def life(self) -> Floats:
        """Ln life at which each land would be what it is, had it no error; shape (looks,)."""
        used = (np.exp(self.log_share) - self.run_in) / (1 - self.run_in)
        return self.log_at - np.log(np.maximum(used, _LEAST_USED))

    def of_edges(self, log_life: Floats, shared: float) -> Floats:
        """Ln density of what was seen of edges that live so long, all doubts in it.

        Args:
            log_life: ln life [wear units], shape (looks, lives).
            shared: Deviation of ln life that all looks may have wrong in common.
        """
        return self.log_likelihood(self.goes_with(log_life), self.doubt_in_common(shared))

    def log_likelihood(self, goes_with: Floats, doubt: Floats | None = None) -> Floats:
        """Ln density of what was seen, by the ln life that the land goes with.

        A share of the looks is taken as wrong altogether (another edge's, a slip of the pen):
        no look outweighs all else. As the life grows the share expected goes to the run-in, so
        that a small land early on bounds the life from below and says no more.

        Args:
            goes_with: ln life [wear units], shape (looks, lives).
            doubt: Variance that it has besides, shape (looks,).
        """
        log_share, variance = self.forecast(goes_with, doubt)
        gap = (self.log_share[:, None] - log_share) / np.sqrt(variance)
        density = np.exp(-0.5 * gap**2) / np.sqrt(2 * np.pi * variance)
        result: Floats = np.log((1 - _SLIPS) * density + np.exp(_LOG_SLIP))
        return result

    def forecast(self, goes_with: Floats, doubt: Floats | None = None) -> tuple[Floats, Floats]:
        """Ln share of the limit to be seen, less the level of such looks, and its variance.

        Args:
            goes_with: ln life [wear units], shape (looks, lives).
            doubt: Variance that it has besides, shape (looks,).
        """
        r = self.run_in[:, None]
        # Past the limit the land runs away: it says that the life is over, hardly more.
        y = np.exp(np.minimum(self.log_at[:, None] - goes_with, _LOG_PAST))
        share = r + (1 - r) * y
        spread = self.growth[:, None] * np.maximum(1 / share - 1, 0.0)
        variance = self.error[:, None] ** 2 + spread**2
        if doubt is not None:
            variance += doubt[:, None] * ((1 - r) * y / share) ** 2
        return np.log(share), variance

    def doubt_in_common(self, shared: float) -> Floats:
        """Variance of the ln life that lands go with, shape (looks,)."""
        result: Floats = (shared * self.tie) ** 2 + (1 - self.tie) ** 2 * self.doubt
        return result


def slipped(log_likelihood: Floats) -> Floats:
    """Chance that a look is wrong altogether, by the ln density of what was seen."""
    result: Floats = np.exp(_LOG_SLIP - log_likelihood)
    return result


def unchecked_looks(usual: Floats, doubt: Floats) -> Looks:
    """How looks are read before any was checked.

    Args:
        usual: ln usual life of each key as far as it is known, shape (keys,).
        doubt: Variance of it.
    """
    run_in = np.full(_KINDS, _RUN_IN)
    run_in[SIZE_SEEN] = _SIZE_RUN_IN
    error, growth, tie = (np.full(_KINDS, usual_one) for usual_one in (_ERROR, _GROWTH, _TIE))
    level = np.zeros((_KINDS, len(usual)))
    shared = float(np.hypot(_LEAST_SHARED, _SHARED))
    return Looks(level, run_in, error, growth, tie, shared, usual, doubt)


def learn_looks(lives: LifeHistories, usual: Floats, doubt: Floats, was_worn: Floats) -> Looks:
    """Learn from the worn edges that were looked at.

    Args:
        lives: Believable lives.
        usual: ln usual life of each key as far as it is known, shape (keys,).
        doubt: Variance of it, shape (keys,).
        was_worn: Chance that each edge was worn out, shape (lives,).
    """
    first = unchecked_looks(usual, doubt)
    level, run_in, error, growth, tie = (
        column.copy()
        for column in (first.level, first.run_in, first.error, first.growth, first.tie)
    )
    for kind, usual_sd in ((SIZE_SEEN, _SIZE_RUN_IN_SD), (LAND_SEEN, _RUN_IN_SD)):
        rows = _worn_and_seen(lives) & (lives.seen_kind == kind)
        if rows.any():
            found = _regress(
                lives.take(rows), usual, doubt, was_worn[rows], float(run_in[kind]), usual_sd
            )
            level[kind], run_in[kind], error[kind], growth[kind], tie[kind] = found
    shared = error_in_common(lives, was_worn)
    return Looks(level, run_in, error, growth, tie, shared, usual, doubt)


def error_in_common(lives: LifeHistories, was_worn: Floats) -> float:
    """Deviation of ln life that all looks may have wrong in common.

    Only looks in the middle of lives whose end is known prove how looks are to be read.

    Args:
        lives: Believable lives.
        was_worn: Chance that each edge was worn out, shape (lives,).
    """
    middle = _worn_and_seen(lives) & (lives.seen_at < _MIDDLE * lives.wear)
    proven = _SHARED_WORTH / (_SHARED_WORTH + float(was_worn[middle].sum()))
    return float(np.hypot(_LEAST_SHARED, _SHARED * proven**0.5))


def _worn_and_seen(lives: LifeHistories) -> Bools:
    seen: Bools = (lives.ended == WORN) & (lives.seen_kind > 0) & (lives.seen_at > 0)
    return seen


def _regress(
    lives: LifeHistories,
    usual: Floats,
    doubt: Floats,
    counts: Floats,
    run_in: float,
    run_in_sd: float,
) -> tuple[Floats, float, float, float, float]:
    """Level of each key, run-in, error, its growth and the tie, held by priors.

    Gauss and Newton; that a land past the limit runs away until somebody notices is a limit of
    what can be read (Tobin 1958): such a one counts as anywhere beyond.
    """
    keys, key = len(usual), lives.key_index
    past = lives.seen_share > 1
    log_share = np.log(np.minimum(lives.seen_share, 1.0))
    # A failure that nobody saw happened somewhere between; its middle will do here.
    ended = np.log(np.maximum((lives.wear + lives.since) / 2, 1e-12)) - usual[key]
    log_at = np.log(np.maximum(lives.seen_at, 1e-12)) - usual[key]
    found, own = np.array([0.0, run_in, _TIE]), np.zeros(keys)
    centre, held = found.copy(), np.array([_LEVEL_SD, run_in_sd, _TIE_SD]) ** -2.0
    error, growth = _ERROR, _GROWTH
    for _ in range(12):
        common, run_in, tie = found
        y = np.exp(np.clip(log_at - tie * ended, _EARLIEST, _LOG_PAST))
        share = run_in + (1 - run_in) * y
        far = np.maximum(1 / share - 1, 0.0)
        variance = error**2 + (growth * far) ** 2
        sd = np.sqrt(variance)
        forecast = common + own[key] + np.log(share)
        # Mean and variance of what a land past the limit would have read.
        beyond = np.exp(
            -0.5 * (forecast / sd) ** 2 - 0.5 * np.log(2 * np.pi) - log_ndtr(forecast / sd)
        )
        left = np.where(past, sd * beyond, log_share - forecast)
        hidden = np.where(past, variance * (1 - beyond * (beyond + forecast / sd)), 0.0)
        design = np.stack([np.ones_like(y), (1 - y) / share, -ended * (1 - run_in) * y / share])
        # One slip of the pen must not blow up the error of all looks.
        calm = counts * np.minimum(1.0, _CLIP * sd / np.maximum(np.abs(left), 1e-12))
        weight = calm / variance
        target = left + own[key] + found @ design
        total = per_key(key, weight, keys)
        # A usual life that is not known well shows as a level of the key's own.
        free = _KEY_SD**2 + (1 - tie) ** 2 * doubt
        give = free / (1 + free * total)
        of_key = np.stack([per_key(key, weight * row, keys) for row in design])
        told = per_key(key, weight * target, keys)
        normal = (design * weight) @ design.T - (of_key * give) @ of_key.T + np.diag(held)
        pull = (design * weight) @ target - (of_key * give) @ told + centre * held
        before, found = found, np.linalg.solve(normal, pull)
        found[1:] = np.clip(found[1:], 0.0, (_MOST_RUN_IN, 1.0))
        mine_before, own = own, give * (told - found @ of_key)
        left = left - (found - before) @ design - (own - mine_before)[key]
        squares_of = left**2 + hidden + give[key]
        # The share of each square that is the error at the limit.
        mine = error**2 / variance
        squares = float(np.sum(calm * (mine**2 * squares_of + (1 - mine) * error**2)))
        error = float(
            np.sqrt((_ERROR_WORTH * _ERROR**2 + squares) / (_ERROR_WORTH + counts.sum()))
        )
        # And the share that its growth makes.
        grown = np.sum(
            (1 - mine) ** 2 * squares_of * calm / np.maximum(far, 1e-9) ** 2 * (1 - mine)
        )
        held_growth = np.sum(counts * (1 - mine) * mine) * growth**2
        worth = _GROWTH_WORTH + float(np.sum(counts * (1 - mine)))
        variance_growth = (_GROWTH_WORTH * _GROWTH**2 + grown + held_growth) / worth
        growth = float(np.clip(np.sqrt(variance_growth), _LEAST_GROWTH, _MOST_GROWTH))
    common, run_in, tie = (float(value) for value in found)
    return common + own, run_in, max(error, 0.02), growth, tie
