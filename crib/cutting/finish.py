"""Theoretical roughness of a turned surface and the crater criterion."""

from __future__ import annotations

import math

from crib.cutting.kinematics import require_positive
from crib.errors import OutsideModel


def ideal_peak_um(feed_mm_rev: float, corner_radius_mm: float) -> float:
    """Peak to valley of a round corner ``r - sqrt(r^2 - f^2/4)`` [um].

    Derived from the geometry; ``f^2 / 8r`` is its usual approximation.

    Raises:
        OutsideModel: A feed above twice the radius: the corner no longer makes the profile.
    """
    f = require_positive(feed_mm_rev, "feed_mm_rev", most=50)
    r = require_positive(corner_radius_mm, "corner_radius_mm", most=200)
    if f > 2 * r:
        raise OutsideModel("feed_mm_rev is above twice the corner radius: no formula holds.")
    # f^2/4 / (r + sqrt(..)) is the same without cancellation.
    return 1000 * (f * f / 4) / (r + math.sqrt(r * r - f * f / 4))


def ideal_mean_um(feed_mm_rev: float, corner_radius_mm: float) -> float:
    """Arithmetic mean roughness ``f^2 / 32r`` [um] (Groover, surface finish, from memory)."""
    f = require_positive(feed_mm_rev, "feed_mm_rev", most=50)
    r = require_positive(corner_radius_mm, "corner_radius_mm", most=200)
    return 1000 * f * f / (32 * r)


def crater_limit_mm(feed_mm_rev: float) -> float:
    """Crater depth that ends a carbide edge ``0.06 + 0.3 f`` [mm] (ISO 3685, from memory)."""
    return 0.06 + 0.3 * require_positive(feed_mm_rev, "feed_mm_rev", most=50)
