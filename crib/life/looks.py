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

from crib.arrays import Floats, Ints
from crib.life.observations import LAND_SEEN, SIZE_SEEN, WORN, LifeHistories, per_key

_KINDS: Final = 3
# Prior of a look before any was checked: common practice, no source.
_ERROR, _ERROR_WORTH = 0.20, 6.0
_LEVEL_SD, _KEY_SD = 0.20, 0.10
_RUN_IN, _RUN_IN_SD, _MOST_RUN_IN = 0.15, 0.08, 0.45
#: The same for size corrections, the scatter of parts that sets them off included.
_SIZE_RUN_IN, _SIZE_RUN_IN_SD = 0.35, 0.10
# The error grows away from the limit, with ``1 / share - 1``: a small land is read less well,
# and edges run in differently.
_GROWTH, _GROWTH_WORTH = 0.15, 10.0
_LEAST_GROWTH, _MOST_GROWTH = 0.03, 0.6
_CLIP: Final = 3.0
_SHARED, _SHARED_WORTH, _LEAST_SHARED = 0.60, 6.0, 0.07
_MIDDLE: Final = 0.9
_EARLIEST: Final = -4.0
_LEAST_RISE: Final = 0.15


@dataclass(frozen=True, slots=True)
class Looks:
    """How looks relate to life.

    Attributes:
        level: ``ln share`` at the end of life, shape (kinds, keys).
        run_in: Share of the limit that the run-in takes, shape (kinds,).
        error: Standard deviation of ``ln share`` at the limit, shape (kinds,).
        growth: What is added to it per unit of ``1 / share - 1``, shape (kinds,).
        shared: Deviation of ln life that all looks may have wrong in common.
    """

    level: Floats
    run_in: Floats
    error: Floats
    growth: Floats
    shared: float

    def life_seen(
        self, key: Ints, kind: Ints, share: Floats, at: Floats
    ) -> tuple[Floats, Floats]:
        """Mean and own deviation of ln life that each look points at, shape (looks,)."""
        r = self.run_in[kind]
        seen = share * np.exp(-self.level[kind, key])
        y = np.maximum((seen - r) / (1 - r), np.exp(_EARLIEST))
        # Past the limit the land runs away: it says that the life is over, hardly more.
        u = np.log(np.minimum(y, 1.25))
        rise = np.maximum((1 - r) * y / (r + (1 - r) * y), _LEAST_RISE)
        far = np.maximum(1 / share - 1, 0.0)
        deviation = np.hypot(self.error[kind], self.growth[kind] * far) / rise
        return np.log(np.maximum(at, 1e-12)) - u, deviation


def learn_looks(lives: LifeHistories, keys: int) -> Looks:
    """Learn from the worn edges that were looked at.

    Args:
        lives: Believable lives.
        keys: Number of keys.
    """
    level = np.zeros((_KINDS, keys))
    run_in = np.full(_KINDS, _RUN_IN)
    run_in[SIZE_SEEN] = _SIZE_RUN_IN
    error, growth = np.full(_KINDS, _ERROR), np.full(_KINDS, _GROWTH)
    worn = (lives.ended == WORN) & (lives.seen_at > 0)
    for kind, usual_sd in ((SIZE_SEEN, _SIZE_RUN_IN_SD), (LAND_SEEN, _RUN_IN_SD)):
        some = lives.take(worn & (lives.seen_kind == kind))
        if len(some):
            found = _regress(some, keys, float(run_in[kind]), usual_sd)
            level[kind], run_in[kind], error[kind], growth[kind] = found
    # Only looks in the middle of lives whose end is known prove how looks are to be read.
    middle = worn & (lives.seen_kind > 0) & (lives.seen_at < _MIDDLE * lives.wear)
    proven = _SHARED_WORTH / (_SHARED_WORTH + np.count_nonzero(middle))
    return Looks(
        level, run_in, error, growth, float(np.hypot(_LEAST_SHARED, _SHARED * proven**0.5))
    )


def _regress(
    lives: LifeHistories, keys: int, usual: float, usual_sd: float
) -> tuple[Floats, float, float, float]:
    """Level of each key, run-in, error and its growth, held by priors (Gauss and Newton)."""
    # Past the limit the land runs away until somebody notices: that is not the limit's level.
    key, log_share = lives.key_index, np.log(np.minimum(lives.seen_share, 1.0))
    # A failure that nobody saw happened somewhere between; its middle will do here.
    ended = (lives.wear + lives.since) / 2
    y = np.clip(lives.seen_at / np.maximum(ended, 1e-12), np.exp(_EARLIEST), 1.0)
    common, run_in, own = 0.0, usual, np.zeros(keys)
    error, growth = _ERROR, _GROWTH
    far = np.maximum(1 / lives.seen_share - 1, 0.0)
    centre, held = np.array([0.0, usual]), np.array([_LEVEL_SD, usual_sd]) ** -2.0
    for _ in range(8):
        share = run_in + (1 - run_in) * y
        variance = error**2 + (growth * far) ** 2
        bend = (1 - y) / share
        target = log_share - np.log(share) + run_in * bend
        design = np.stack([np.ones_like(y), bend])
        left = target - common - run_in * bend - own[key]
        # One slip of the pen must not blow up the error of all looks.
        calm = np.minimum(1.0, _CLIP * np.sqrt(variance) / np.maximum(np.abs(left), 1e-12))
        weight = calm / variance
        total = per_key(key, weight, keys)
        give = _KEY_SD**2 / (1 + _KEY_SD**2 * total)
        of_key = np.stack([per_key(key, weight * row, keys) for row in design])
        told = per_key(key, weight * target, keys)
        normal = (design * weight) @ design.T - (of_key * give) @ of_key.T + np.diag(held)
        pull = (design * weight) @ target - (of_key * give) @ told + centre * held
        common, run_in = (float(value) for value in np.linalg.solve(normal, pull))
        run_in = float(np.clip(run_in, 0.0, _MOST_RUN_IN))
        own = give * (told - np.array([common, run_in]) @ of_key)
        left = target - common - run_in * bend - own[key]
        # The share of each square that is the error at the limit.
        mine = error**2 / variance
        squares = float(np.sum(calm * (mine**2 * left**2 + (1 - mine) * error**2)))
        error = float(np.sqrt((_ERROR_WORTH * _ERROR**2 + squares) / (_ERROR_WORTH + len(key))))
        # And the share that its growth makes.
        grown = np.sum(
            ((1 - mine) * left) ** 2 * calm / np.maximum(far, 1e-9) ** 2 * (1 - mine)
        )
        held_growth = np.sum((1 - mine) * mine) * growth**2
        worth = _GROWTH_WORTH + float(np.sum(1 - mine))
        variance_growth = (_GROWTH_WORTH * _GROWTH**2 + grown + held_growth) / worth
        growth = float(np.clip(np.sqrt(variance_growth), _LEAST_GROWTH, _MOST_GROWTH))
    return common + own, run_in, max(error, 0.02), growth
