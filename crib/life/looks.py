"""What a look at an edge's wear says of its life, and how far such looks can be trusted.

A look is a measured wear land, or the growth that size corrections followed, as a share of the
limit. With a steady wear rate the share is the used part of the life (ISO 3685 gives the land
as criterion; the growth is worn-flank geometry). Here ``ln share = level + rise ln(age / life)
+ error``: level and error are learned from edges that were worn out, for each kind of look and
a little for each key, and never taken for granted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.life.observations import WORN, Ints, LifeHistories, per_key
from crib.life.taylor import Floats

_KINDS: Final = 3
# Prior of a look before any was checked: common practice, no source.
_ERROR, _ERROR_WORTH = 0.20, 6.0
_LEVEL_SD, _KEY_SD = 0.20, 0.10
_RISE, _RISE_SD = 1.0, 0.15
#: A look far from the limit says less: the run-in and the run-away are not a straight line.
_FAR: Final = 3.0
_CLIP: Final = 3.0


@dataclass(frozen=True, slots=True)
class Looks:
    """How looks relate to life.

    Attributes:
        level: ``ln share`` at the end of life, shape (kinds, keys).
        rise: ``d ln share / d ln age``, shape (kinds,).
        error: Standard deviation of ``ln share`` near the limit, shape (kinds,).
    """

    level: Floats
    rise: Floats
    error: Floats

    def life_seen(
        self, key: Ints, kind: Ints, share: Floats, at: Floats
    ) -> tuple[Floats, Floats]:
        """Mean and deviation of ln life that each look points at, shape (looks,)."""
        log_share = np.log(share)
        rise = self.rise[kind]
        mean = np.log(np.maximum(at, 1e-12)) + (self.level[kind, key] - log_share) / rise
        return mean, self.error[kind] * np.sqrt(1 + _FAR * log_share**2) / rise


def learn_looks(lives: LifeHistories, keys: int) -> Looks:
    """Learn from the worn edges that were looked at.

    Args:
        lives: Believable lives.
        keys: Number of keys.
    """
    level = np.zeros((_KINDS, keys))
    rise = np.full(_KINDS, _RISE)
    error = np.full(_KINDS, _ERROR)
    worn = (lives.ended == WORN) & (lives.seen_kind > 0) & (lives.wear > 0)
    for kind in range(1, _KINDS):
        rows = worn & (lives.seen_kind == kind)
        if not rows.any():
            continue
        log_share = np.log(lives.seen_share[rows])
        # A failure that nobody saw happened somewhere between; its middle will do here.
        ended = (lives.wear[rows] + lives.since[rows]) / 2
        age = np.log(np.clip(lives.seen_at[rows] / ended, 0.02, 1.0))
        level[kind], rise[kind], error[kind] = _regress(
            lives.key_index[rows], log_share, age, keys
        )
    return Looks(level, rise, error)


def _regress(
    key: Ints, log_share: Floats, age: Floats, keys: int
) -> tuple[Floats, float, float]:
    """Common level, key's own part of it, rise and error, all held by their priors."""
    common, own, rise, error = 0.0, np.zeros(keys), _RISE, _ERROR
    shrink = np.sqrt(1 + _FAR * log_share**2)
    for _ in range(8):
        left = log_share - common - own[key] - rise * age
        # One slip of the pen must not blow up the error of all looks.
        calm = np.minimum(1.0, _CLIP * error * shrink / np.maximum(np.abs(left), 1e-12))
        weight = calm / (error * shrink) ** 2
        target = log_share - own[key]
        design = np.stack([np.ones_like(age), age])
        normal = (design * weight) @ design.T + np.diag([_LEVEL_SD**-2, _RISE_SD**-2])
        pull = (design * weight) @ target + np.array([0.0, _RISE * _RISE_SD**-2])
        common, rise = (float(value) for value in np.linalg.solve(normal, pull))
        rise = float(np.clip(rise, 0.4, 2.0))
        left = target - common - rise * age
        own = per_key(key, weight * left, keys) / (per_key(key, weight, keys) + _KEY_SD**-2)
        left = left - own[key]
        squares = float(np.sum(calm * (left / shrink) ** 2))
        error = float(np.sqrt((_ERROR_WORTH * _ERROR**2 + squares) / (_ERROR_WORTH + len(key))))
    return common + own, rise, max(error, 0.02)
