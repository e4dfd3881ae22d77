"""Weibull's law: survival, hazard, quantiles and life left, stable at both ends.

Shape k, scale theta: ``S(x) = exp(-(x/theta)^k)``. Ages and scale are in any one unit of
use. All functions broadcast their arguments and give arrays of that shape.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.sentence import sentence


def _law(shape: ArrayLike, scale: ArrayLike) -> tuple[Floats, Floats]:
    k = np.asarray(shape, dtype=np.float64)
    theta = np.asarray(scale, dtype=np.float64)
    if not np.all(np.isfinite(k) & (k > 0) & np.isfinite(theta) & (theta > 0)):
        raise OutsideModel(sentence("Shape and scale of a life have to be numbers above 0."))
    return k, theta


def _age(age: ArrayLike) -> Floats:
    x = np.asarray(age, dtype=np.float64)
    if not np.all(x >= 0):
        raise OutsideModel(sentence("An age has to be a number from 0 up."))
    return x


def cumulative_hazard(age: ArrayLike, shape: ArrayLike, scale: ArrayLike) -> Floats:
    """``H(x) = (x/theta)^k``.

    Raises:
        OutsideModel: A shape or scale that is not above 0, or a negative age.
    """
    k, theta = _law(shape, scale)
    result: Floats = (_age(age) / theta) ** k
    return result


def survival(age: ArrayLike, shape: ArrayLike, scale: ArrayLike) -> Floats:
    """Chance of outliving an age.

    Raises:
        OutsideModel: A shape or scale that is not above 0, or a negative age.
    """
    return np.exp(-cumulative_hazard(age, shape, scale))


def failure(age: ArrayLike, shape: ArrayLike, scale: ArrayLike) -> Floats:
    """Chance of failing by an age, exact also where it is tiny.

    Raises:
        OutsideModel: A shape or scale that is not above 0, or a negative age.
    """
    return -np.expm1(-cumulative_hazard(age, shape, scale))


def hazard(age: ArrayLike, shape: ArrayLike, scale: ArrayLike) -> Floats:
    """Rate of failing at an age, ``k/theta (x/theta)^(k-1)``; infinite at 0 if k < 1.

    Raises:
        OutsideModel: A shape or scale that is not above 0, or a negative age.
    """
    k, theta = _law(shape, scale)
    with np.errstate(divide="ignore"):
        result: Floats = k / theta * (_age(age) / theta) ** (k - 1)
    return result


def quantile(probability: ArrayLike, shape: ArrayLike, scale: ArrayLike) -> Floats:
    """Age by which a share fails: ``theta (-ln(1-p))^(1/k)``.

    Raises:
        OutsideModel: A probability outside 0 to below 1.

    Examples:
        >>> round(float(quantile(0.1, 2.0, 1000.0)), 3)
        324.593
    """
    p = np.asarray(probability, dtype=np.float64)
    if not np.all((p >= 0) & (p < 1)):
        raise OutsideModel(sentence("A probability has to be from 0 to below 1."))
    k, theta = _law(shape, scale)
    result: Floats = theta * (-np.log1p(-p)) ** (1 / k)
    return result
