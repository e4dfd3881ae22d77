"""Breakage: a chance per part that does not wait for wear, pooled from shop to key.

Rates are held per wear unit above the key, where parts of different size mix, and per part at
the key itself, where they are what the shop counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.life.observations import BROKEN, Ints, LifeHistories, per_key
from crib.life.taylor import Floats

PRIOR_PER_LIFE: Final = 0.03
"""One edge in about thirty breaks before it wears out: common practice, no source."""
_STRENGTH: Final = 2.0


@dataclass(frozen=True, slots=True)
class Breakage:
    """Posterior of each key's break rate, arrays of shape (keys,).

    ``rate per part ~ Gamma(alpha, prior_wear / wear_per_part + parts)``.

    Attributes:
        alpha: Prior strength plus breaks seen.
        prior_wear: Wear units that the prior from like keys is worth.
        parts: Parts made by the key's edges.
    """

    alpha: Floats
    prior_wear: Floats
    parts: Floats

    def exposure_wear(self, key: Ints, wear_per_part: Floats) -> Floats:
        """``beta`` in wear units at a wear per part, shape (edges,)."""
        return self.prior_wear[key] + self.parts[key] * wear_per_part

    def after(self, lives: LifeHistories) -> Breakage:
        """After a few more lives; what like keys say of each other stays as it was."""
        keys, index = len(self.alpha), lives.key_index
        broke = (lives.ended == BROKEN).astype(np.float64)
        return Breakage(
            self.alpha + per_key(index, broke, keys),
            self.prior_wear,
            self.parts + per_key(index, lives.parts, keys),
        )


def fit_breakage(
    histories: LifeHistories, levels: tuple[Ints, ...], promised: Floats
) -> Breakage:
    """Pool breaks from the shop down the levels to the keys.

    Args:
        histories: Believable lives.
        levels: Group labels from coarse to fine, each of shape (keys,).
        promised: Promised life per key [wear units], shape (keys,).
    """
    keys = len(promised)
    index = histories.key_index
    broke = per_key(index, (histories.ended == BROKEN).astype(np.float64), keys)
    wear = per_key(index, histories.wear, keys)
    parts = per_key(index, histories.parts, keys)
    rate = np.full(keys, PRIOR_PER_LIFE)
    lives = wear / promised
    for label in (np.zeros(keys, dtype=np.int64), *levels):
        broke_here = per_key(label, broke)[label]
        lives_here = per_key(label, lives)[label]
        rate = (_STRENGTH + broke_here) / (_STRENGTH / rate + lives_here)
    return Breakage(_STRENGTH + broke, _STRENGTH / rate * promised, parts)
