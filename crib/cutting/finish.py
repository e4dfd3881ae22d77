"""Theoretical roughness of a turned surface and the crater criterion."""

from __future__ import annotations

import math

from crib.cutting.kinematics import require_positive
from crib.errors import OutsideModel
from crib.sentence import figure, sentence


def ideal_peak_um(feed_mm_rev: float, corner_radius_mm: float) -> float:
    """Peak to valley of a round corner ``r - sqrt(r^2 - f^2/4)`` [um].

    Derived from the geometry; ``f^2 / 8r`` is its usual approximation.

    Raises:
        OutsideModel: A feed above twice the radius: the corner no longer makes the profile.
    """
    f, r = _corner(feed_mm_rev, corner_radius_mm)
    # f^2/4 / (r + sqrt(..)) is the same without cancellation.
    return 1000 * (f * f / 4) / (r + math.sqrt(r * r - f * f / 4))


def parabola_peak_um(feed_mm_rev: float, corner_radius_mm: float) -> float:
    """Peak to valley as it is usually written, ``f^2 / 8r`` [um]: the corner as a parabola.

    Raises:
        OutsideModel: A feed above twice the radius.
    """
    f, r = _corner(feed_mm_rev, corner_radius_mm)
    return 1000 * f * f / (8 * r)


def ideal_mean_um(feed_mm_rev: float, corner_radius_mm: float) -> float:
    """Arithmetic mean roughness ``f^2 / 32r`` [um] (Groover, surface finish, from memory).

    Raises:
        OutsideModel: A feed above twice the radius.
    """
    f, r = _corner(feed_mm_rev, corner_radius_mm)
    return 1000 * f * f / (32 * r)


def parabola_mean_um(feed_mm_rev: float, corner_radius_mm: float) -> float:
    """Arithmetic mean of that parabola, ``f^2 / (18 sqrt(3) r)`` [um], derived.

    The usual 1/32 is this 1/31.18 rounded.

    Raises:
        OutsideModel: A feed above twice the radius.
    """
    f, r = _corner(feed_mm_rev, corner_radius_mm)
    return 1000 * f * f / (18 * math.sqrt(3) * r)


def crater_limit_mm(feed_mm_rev: float) -> float:
    """Crater depth that ends a carbide edge ``0.06 + 0.3 f`` [mm] (ISO 3685, from memory)."""
    return 0.06 + 0.3 * require_positive(feed_mm_rev, "feed_mm_rev", most=50)


def _corner(feed_mm_rev: float, corner_radius_mm: float) -> tuple[float, float]:
    f = require_positive(feed_mm_rev, "feed_mm_rev", most=50)
    r = require_positive(corner_radius_mm, "corner_radius_mm", most=200)
    if f > 2 * r:
        raise OutsideModel(
            sentence(
                "feed_mm_rev is {f}, above twice the corner radius {r}: the corner no "
                "longer makes the profile and no formula holds.",
                f=figure(f, "g"),
                r=figure(r, "g"),
            ),
            errors=[
                {
                    "field": "feed_mm_rev",
                    "detail": sentence("at most {r}", r=figure(2 * r, "g")),
                }
            ],
        )
    return f, r
