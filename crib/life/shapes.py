"""Weights of the Weibull shapes: a key leans on its class, a class on the shop."""

from __future__ import annotations

from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.law import KINDS, STEEPNESS
from crib.life.observations import per_key

# Wear-out lives of like edges usually scatter by 20 to 40 per cent, a Weibull shape of about
# 6 to 3: common practice, no source.
_SHAPE_CENTRE, _SHAPE_SD = 4.0, 0.35
_SHAPE_BETWEEN_KEYS = 0.15
_SHAPE_CLASS_WORTH: Final = 20.0


def law_prior() -> Floats:
    """Log weights of the laws before any life: each kind half."""
    log_weights = -0.5 * (np.log(STEEPNESS / _SHAPE_CENTRE) / _SHAPE_SD) ** 2
    for kind in KINDS:
        log_weights[kind] -= np.log(np.exp(log_weights[kind]).sum())
    return log_weights


def class_opinion(evidence: Floats, group: Ints, worn: Floats) -> Floats:
    """Log weights of each key's shapes as the others say, shape (keys, shapes).

    A class leans on the shop (as much as about twenty worn edges); between keys of a class the
    shape may differ, so the class's opinion is widened.

    Args:
        evidence: ln marginal likelihood of each key, shape (keys, shapes).
        group: Class of each key.
        worn: Worn edges of each key.
    """
    classes = int(group.max(initial=0)) + 1
    by_class = np.zeros((classes, evidence.shape[1]))
    np.add.at(by_class, group, evidence)
    everything = evidence.sum(axis=0)
    elsewhere = np.maximum(worn.sum() - per_key(group, worn, classes), 1e-9)
    worth = np.minimum(1.0, _SHAPE_CLASS_WORTH / elsewhere)
    pooled = law_prior() + worth[:, None] * (everything - by_class) + by_class
    opinion = widened(normalised(pooled[group] - evidence))
    result: Floats = np.log(np.maximum(opinion, 1e-300))
    return result


def widened(weights: Floats) -> Floats:
    """Weights of a class as those of one of its keys, whose shape may differ a little."""
    result = np.empty_like(weights)
    for kind in KINDS:
        steepness = np.log(STEEPNESS[kind])
        distance = np.subtract.outer(steepness, steepness) / _SHAPE_BETWEEN_KEYS
        blur = np.exp(-0.5 * distance**2)
        result[:, kind] = weights[:, kind] @ (blur / blur.sum(axis=0)).T
    return result


def normalised(log_weights: Floats) -> Floats:
    """Weights that add up to 1 in each row."""
    top = log_weights - log_weights.max(axis=1, keepdims=True)
    weights = np.exp(top)
    result: Floats = weights / weights.sum(axis=1, keepdims=True)
    return result
