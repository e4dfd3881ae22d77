"""The law of every key as far as it is known, on a grid of Weibull shapes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import logsumexp

from crib.life.observations import BROKEN, WORN, LifeHistories
from crib.life.taylor import Floats

SHAPES: Final[Floats] = np.geomspace(1.5, 8.0, 12)
"""Weibull shapes considered; below 1.5 wear would hardly be wear, above 8 hardly chance."""

#: Share of edges that somebody turned without telling, before any life was seen: common
#: practice, no source. Worth as much as a hundred lives.
_TURNED: Final = 0.02
_TURNED_WORTH: Final = 100.0


@dataclass(frozen=True, slots=True)
class Law:
    """Where each key's lives lie.

    Attributes:
        promise: ln of the promised life, shape (keys,).
        scale: ln Weibull scale over the promise at each shape, shape (keys, shapes).
        weights: Weights of ``SHAPES``, shape (keys, shapes).
    """

    promise: Floats
    scale: Floats
    weights: Floats


def trust(lives: LifeHistories, law: Law) -> Floats:
    """Chance that each record is the life of one edge, shape (lives,).

    An edge that was turned without telling leaves one record of two lives. A long life that
    the key's law does not hold likely counts for the less, the more a record of twice an
    edge's life would explain it. How common that is, the records themselves tell (a few rounds
    of expectation and maximisation).
    """
    if not len(lives):
        return np.zeros(0)
    one = _log_chance(lives, law, 0.0)
    two = _log_chance(lives, law, np.log(2.0))
    ratio = np.exp(np.clip(two - one, -50, 50))
    turned = _TURNED
    for _ in range(4):
        belief = 1 / (1 + turned / (1 - turned) * ratio)
        lost = float(np.sum(1 - belief))
        turned = (_TURNED * _TURNED_WORTH + lost) / (_TURNED_WORTH + len(lives))
    # The shortest explanation is never doubted.
    return np.where(ratio > 1, belief, 1.0)


def _log_chance(lives: LifeHistories, law: Law, longer: float) -> Floats:
    """Ln likelihood of each life, its law's ages stretched by ``exp(longer)``."""
    key = lives.key_index
    log_hi = np.log(np.maximum(lives.wear, 1e-12)) - law.promise[key] - longer
    log_lo = np.log(np.maximum(lives.since, 1e-12)) - law.promise[key] - longer
    worn = lives.ended == WORN
    exact = worn & (log_hi - log_lo <= 1e-3)
    between = worn & ~exact
    log_age = np.where(lives.ended == BROKEN, log_lo, log_hi)
    terms = np.empty((len(lives), len(SHAPES)))
    for s, shape in enumerate(SHAPES):
        scale = law.scale[key, s]
        power = shape * (log_age - scale)
        hazard = np.exp(np.minimum(power, 50.0))
        chance = np.where(exact, np.log(shape) + power - hazard, -hazard)
        if between.any():
            low = np.exp(np.minimum(shape * (log_lo - scale)[between], 50.0))
            step = np.maximum(hazard[between] - low, 1e-12)
            chance[between] = -low + np.log(-np.expm1(-step))
        terms[:, s] = chance
    result: Floats = logsumexp(terms, axis=1, b=np.maximum(law.weights[key], 1e-12))
    return result
