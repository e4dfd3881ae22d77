"""What a look at an edge's wear says of its life, and how far such looks can be trusted.

A look is a measured wear land, or the growth that size corrections followed, as a share of the
limit. With a steady wear rate the share is the used part of the life (ISO 3685 gives the land
as criterion; the growth is worn-flank geometry). Real wear runs in and runs away, so
``ln share = level + rise u + curve u^2 + error`` with ``u = ln(age / life)``, and all of it is
learned for each kind of look, the level a little for each key too. Where an edge was taken out
early its u is not known, but its mean under the key's law is: regressing on that mean is not
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
_MEAN: Final[Floats] = np.array([0.0, 1.0, 0.0])
_SD: Final[Floats] = np.array([0.20, 0.25, 0.20])
_KEY_SD = 0.10
#: The error grows away from the limit: a small land is read less well.
_FAR: Final = 2.0
_CLIP: Final = 3.0
_EARLIEST: Final = -4.0
_LEAST_RISE: Final = 0.3


@dataclass(frozen=True, slots=True)
class Looks:
    """How looks relate to life.

    Attributes:
        level: ``ln share`` at the end of life, shape (kinds, keys).
        rise: ``d ln share / d u`` there, shape (kinds,).
        curve: Half its change with u, shape (kinds,).
        error: Standard deviation of ``ln share`` near the limit, shape (kinds,).
    """

    level: Floats
    rise: Floats
    curve: Floats
    error: Floats

    def life_seen(
        self, key: Ints, kind: Ints, share: Floats, at: Floats
    ) -> tuple[Floats, Floats]:
        """Mean and deviation of ln life that each look points at, shape (looks,)."""
        gap = self.level[kind, key] - np.log(share)
        rise, curve = self.rise[kind], self.curve[kind]
        slope = np.sqrt(np.maximum(rise**2 - 4 * curve * gap, _LEAST_RISE**2))
        u = np.maximum(-2 * gap / (rise + slope), _EARLIEST)
        deviation = self.error[kind] * np.sqrt(1 + _FAR * u**2) / slope
        return np.log(np.maximum(at, 1e-12)) - u, deviation


def learn_looks(lives: LifeHistories, law: Law) -> Looks:
    """Learn from all edges that were looked at.

    Args:
        lives: Believable lives.
        law: The keys' laws as far as they are known.
    """
    keys = len(law.promise)
    level = np.zeros((_KINDS, keys))
    terms = np.tile(_MEAN[1:], (_KINDS, 1))
    error = np.full(_KINDS, _ERROR)
    looked = (lives.seen_kind > 0) & (lives.seen_at > 0) & (lives.ended != BROKEN)
    for kind in range(1, _KINDS):
        some = lives.take(looked & (lives.seen_kind == kind))
        if len(some):
            level[kind], terms[kind], error[kind] = _regress(some, law, keys)
    return Looks(level, terms[:, 0], terms[:, 1], error)


def _regress(lives: LifeHistories, law: Law, keys: int) -> tuple[Floats, Floats, float]:
    """Common terms, the keys' own levels and the error, all held by their priors."""
    key, log_share = lives.key_index, np.log(lives.seen_share)
    log_life, doubt = _log_life(lives, law)
    u = np.clip(np.log(lives.seen_at) - log_life, _EARLIEST, 0.0)
    design = np.stack([np.ones_like(u), u, u**2])
    common, own, error = _MEAN.copy(), np.zeros(keys), _ERROR
    far = 1 + _FAR * u**2
    apart = np.full(keys, _KEY_SD**2)
    # Of keys whose looked-at edges were all worn out, the law is not asked.
    unsure = per_key(key, (doubt > 0).astype(np.float64), keys) / np.maximum(
        np.bincount(key, minlength=keys), 1
    )
    for _ in range(8):
        slope = common[1] + 2 * common[2] * u
        variance = error**2 * far + slope**2 * doubt
        left = log_share - own[key] - common @ design
        # One slip of the pen must not blow up the error of all looks.
        calm = np.minimum(1.0, _CLIP * np.sqrt(variance) / np.maximum(np.abs(left), 1e-12))
        weight = calm / variance
        # What all looks of a key share is its own level, or its law is off: by their odds.
        total = per_key(key, weight, keys)
        slope_of = per_key(key, weight * slope, keys) / np.maximum(total, 1e-300)
        apart = _KEY_SD**2 + slope_of**2 * law.variance * unsure
        give = apart / (1 + apart * total)
        of_key = np.stack([per_key(key, weight * row, keys) for row in design])
        told = per_key(key, weight * log_share, keys)
        normal = (design * weight) @ design.T - (of_key * give) @ of_key.T + np.diag(_SD**-2)
        pull = (design * weight) @ log_share - (of_key * give) @ told + _MEAN * _SD**-2
        common = np.linalg.solve(normal, pull)
        common[1] = np.clip(common[1], 0.5, 2.0)
        common[2] = np.clip(common[2], -0.4, 0.15)
        own = give * (told - common @ of_key)
        left = log_share - common @ design - own[key]
        # The share of each square that is the look's, and not the doubt about the life.
        mine = error**2 * far / variance
        squares = float(np.sum(calm * (mine**2 * left**2 / far + (1 - mine) * error**2)))
        error = float(np.sqrt((_ERROR_WORTH * _ERROR**2 + squares) / (_ERROR_WORTH + len(key))))
    return common[0] + own * _KEY_SD**2 / apart, common[1:], max(error, 0.02)


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
