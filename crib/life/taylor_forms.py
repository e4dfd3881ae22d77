"""Taylor's curve as others write it: as a power law for the life, and in feet and inches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats
from crib.life.taylor import TaylorConstants
from crib.units import MM_PER_IN


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """The same curve written for the life: ``T = K v^-p f^-q d^-r``.

    Attributes:
        ln_k: Logarithm of K, for T [min], v [m/min], f [mm/rev], d [mm]; K itself may be
            larger than a computer's numbers go.
        speed_power: p = 1/n.
        feed_power: q = a/n.
        depth_power: r = b/n.
    """

    ln_k: float
    speed_power: float
    feed_power: float = 0.0
    depth_power: float = 0.0


def power_law(constants: TaylorConstants) -> PowerLaw:
    """The form that is written for the life.

    Examples:
        >>> law = power_law(TaylorConstants(0.25, 100, feed_exponent=0.5))
        >>> law.speed_power, law.feed_power
        (4.0, 2.0)
    """
    c = constants
    q, r = c.feed_exponent / c.n, c.depth_exponent / c.n
    level = math.log(c.c_m_min) / c.n
    level += q * math.log(c.reference_feed_mm_rev or 1.0)
    level += r * math.log(c.reference_depth_mm or 1.0)
    return PowerLaw(level, 1 / c.n, q, r)


def m_min_from_ft_min(speed_ft_min: ArrayLike) -> Floats:
    """Speed in metres per minute; 1 ft = 0.3048 m exactly (agreement of 1959).

    Examples:
        >>> round(float(m_min_from_ft_min(1000)), 4)
        304.8
    """
    return np.asarray(speed_ft_min, dtype=np.float64) * 0.3048


def ft_min_from_m_min(speed_m_min: ArrayLike) -> Floats:
    """Speed in feet per minute, the other way round."""
    return np.asarray(speed_m_min, dtype=np.float64) / 0.3048


def mm_from_in(length_in: ArrayLike) -> Floats:
    """Feed or depth in millimetres."""
    return np.asarray(length_in, dtype=np.float64) * MM_PER_IN


def constants_from_inches(
    n: float,
    c_ft_min: float,
    feed_exponent: float = 0.0,
    depth_exponent: float = 0.0,
    reference_feed_in_rev: float = 1.0,
    reference_depth_in: float = 1.0,
) -> TaylorConstants:
    """Constants printed for ft/min, in/rev and in; the exponents have no unit.

    Args:
        n: Exponent of life.
        c_ft_min: Speed for a life of one minute [ft/min] at the references.
        feed_exponent: ``a``.
        depth_exponent: ``b``.
        reference_feed_in_rev: Feed at which C holds [in/rev]; 1 where C stands alone.
        reference_depth_in: Depth at which C holds [in]; 1 where C stands alone.

    Raises:
        OutsideModel: A constant outside its range.
    """
    return TaylorConstants(
        n,
        float(m_min_from_ft_min(c_ft_min)),
        feed_exponent,
        depth_exponent,
        float(mm_from_in(reference_feed_in_rev)) if feed_exponent else None,
        float(mm_from_in(reference_depth_in)) if depth_exponent else None,
    )
