"""Theoretical roughness of a turned surface."""

from __future__ import annotations

from crib.cutting.kinematics import require_positive
from crib.errors import OutsideModel
from crib.sentence import figure, sentence


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
