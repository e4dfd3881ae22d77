"""What a look at an edge's wear says of its life, and how far such looks can be trusted.

A look is a measured wear land, or the growth that size corrections followed, as a share of the
limit. With a steady wear rate the share is the used part y of the life, but for a run-in at the
beginning (ISO 3685 gives the land as criterion and its three phases; the growth is worn-flank
geometry): ``ln share = level + ln(r + (1 - r) y) + error``. Run-in r, level and error are
learned for each kind of look, the level a little for each key too. Where an edge was taken out
early its y is not known, but its mean under the key's law is: regressing on that mean is not
biased (Berkson 1950, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import exp1

from crib.life.law import SHAPES, Law
from crib.life.observations import BROKEN, WORN, Ints, LifeHistories, per_key
from crib.life.taylor import Floats

_KINDS: Final = 3
# Prior of a look before any was checked: common practice, no source.
_ERROR, _ERROR_WORTH = 0.20, 6.0
_LEVEL_SD, _KEY_SD = 0.20, 0.10
_RUN_IN, _RUN_IN_SD, _MOST_RUN_IN = 0.15, 0.08, 0.45
#: The error grows away from the limit: a small land is read less well.
_FAR: Final = 1.0
_CLIP: Final = 3.0
_EARLIEST: Final = -4.0
_LEAST_RISE: Final = 0.15


@dataclass(frozen=True, slots=True)
class Looks:
    """How looks relate to life.

    Attributes:
        level: ``ln share`` at the end of life, shape (kinds, keys).
        run_in: Share of the limit that the run-in takes, shape (kinds,).
        error: Standard deviation of ``ln share`` near the limit, shape (kinds,).
    """

    level: Floats
    run_in: Floats
    error: Floats

    def life_seen(
        self, key: Ints, kind: Ints, share: Floats, at: Floats
    ) -> tuple[Floats, Floats]:
        """Mean and deviation of ln life that each look points at, shape (looks,)."""
        r = self.run_in[kind]
        seen = share * np.exp(-self.level[kind, key])
        y = np.maximum((seen - r) / (1 - r), np.exp(_EARLIEST))
        # Past the limit the land runs away: it says that the life is over, hardly more.
        u = np.log(np.minimum(y, 1.25))
        rise = np.maximum((1 - r) * y / (r + (1 - r) * y), _LEAST_RISE)
        deviation = self.error[kind] * np.sqrt(1 + _FAR * u**2) / rise
        return np.log(np.maximum(at, 1e-12)) - u, deviation


def learn_looks(lives: LifeHistories, law: Law) -> Looks:
    """Learn from all edges that were looked at.

    Args:
        lives: Believable lives.
        law: The keys' laws as far as they are known.
    """
    keys = len(law.promise)
    level = np.zeros((_KINDS, keys))
    run_in = np.full(_KINDS, _RUN_IN)
    error = np.full(_KINDS, _ERROR)
    looked = (lives.seen_kind > 0) & (lives.seen_at > 0) & (lives.ended != BROKEN)
    for kind in range(1, _KINDS):
        some = lives.take(looked & (lives.seen_kind == kind))
        if len(some):
            level[kind], run_in[kind], error[kind] = _regress(some, law, keys)
    return Looks(level, run_in, error)


def _regress(lives: LifeHistories, law: Law, keys: int) -> tuple[Floats, float, float]:
    """Level of each key, run-in and error, all held by their priors (Gauss and Newton)."""
    key, log_share = lives.key_index, np.log(lives.seen_share)
    log_life, doubt = _log_life(lives, law)
    u = np.clip(np.log(lives.seen_at) - log_life, _EARLIEST, 0.0)
    y = np.exp(u)
    common, run_in, own, error = 0.0, _RUN_IN, np.zeros(keys), _ERROR
    far = 1 + _FAR * u**2
    apart = np.full(keys, _KEY_SD**2)
    centre, held = np.array([0.0, _RUN_IN]), np.array([_LEVEL_SD, _RUN_IN_SD]) ** -2.0
    # Of keys whose looked-at edges were all worn out, the law is not asked.
    unsure = per_key(key, (doubt > 0).astype(np.float64), keys) / np.maximum(
        np.bincount(key, minlength=keys), 1
    )
    for _ in range(8):
        share = run_in + (1 - run_in) * y
        slope = (1 - run_in) * y / share
        variance = error**2 * far + slope**2 * doubt
        bend = (1 - y) / share
        target = log_share - np.log(share) + run_in * bend
        design = np.stack([np.ones_like(u), bend])
        left = target - common - run_in * bend - own[key]
        # One slip of the pen must not blow up the error of all looks.
        calm = np.minimum(1.0, _CLIP * np.sqrt(variance) / np.maximum(np.abs(left), 1e-12))
        weight = calm / variance
        # What all looks of a key share is its own level, or its law is off: by their odds.
        total = per_key(key, weight, keys)
        slope_of = per_key(key, weight * slope, keys) / np.maximum(total, 1e-300)
        apart = _KEY_SD**2 + slope_of**2 * law.variance * unsure
        give = apart / (1 + apart * total)
        of_key = np.stack([per_key(key, weight * row, keys) for row in design])
        told = per_key(key, weight * target, keys)
        normal = (design * weight) @ design.T - (of_key * give) @ of_key.T + np.diag(held)
        pull = (design * weight) @ target - (of_key * give) @ told + centre * held
        common, run_in = (float(value) for value in np.linalg.solve(normal, pull))
        run_in = float(np.clip(run_in, 0.0, _MOST_RUN_IN))
        own = give * (told - np.array([common, run_in]) @ of_key)
        left = target - common - run_in * bend - own[key]
        # The share of each square that is the look's, and not the doubt about the life.
        mine = error**2 * far / variance
        squares = float(np.sum(calm * (mine**2 * left**2 / far + (1 - mine) * error**2)))
        error = float(np.sqrt((_ERROR_WORTH * _ERROR**2 + squares) / (_ERROR_WORTH + len(key))))
    return common + own * _KEY_SD**2 / apart, run_in, max(error, 0.02)


def _log_life(lives: LifeHistories, law: Law) -> tuple[Floats, Floats]:
    """Mean and variance of each edge's ln life, given how far it is known."""
    worn = lives.ended == WORN
    # A failure that nobody saw happened somewhere between; its middle will do here.
    known = np.log(np.maximum((lives.wear + lives.since) / 2, 1e-12))
    key = lives.key_index
    shape = np.exp(law.weights @ np.log(SHAPES))[key]
    scale = (np.sum(law.weights * law.scale, axis=1) + law.promise)[key]
    q = np.clip(np.exp(shape * (np.log(np.maximum(lives.wear, 1e-12)) - scale)), 1e-9, 500.0)
    # E[ln E | E > q] of an exponential E; its variance falls from pi^2/6 to 1/q^2.
    beyond = scale + (np.log(q) + np.exp(q) * exp1(q)) / shape
    spread = 1 / ((0.78 + q) * shape) ** 2
    return np.where(worn, known, beyond), np.where(worn, 0.0, spread)
