"""The law of every key as far as it is known, on a grid of Weibull shapes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Floats

SHAPES: Final[Floats] = np.geomspace(1.5, 8.0, 12)
"""Weibull shapes considered; below 1.5 wear would hardly be wear, above 8 hardly chance."""


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
