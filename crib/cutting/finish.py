"""Theoretical roughness of a turned surface, and the feed for a wanted one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats
from crib.cutting.kinematics import require_positive
from crib.errors import OutsideModel
from crib.sentence import figure, sentence

#: Thinnest chip that still comes off, over the radius of the cutting edge: 0.2 to 0.4 is
#: common practice, no source; it hangs on material, coating and speed.
MIN_CHIP_SHARE: Final = 0.3


@dataclass(frozen=True, slots=True)
class FinishFeeds:
    """Feeds for wanted surfaces, arrays of one shape.

    Attributes:
        feed_mm_rev: Feed whose profile has the wanted height.
        least_feed_mm_rev: Feed below which a surface gets rougher again; NaN: not known.
        rubs: Whether the feed is below that.
    """

    feed_mm_rev: Floats
    least_feed_mm_rev: Floats
    rubs: Bools


def feed_for_peak_mm_rev(peak_um: ArrayLike, corner_radius_mm: ArrayLike) -> Floats:
    """Feed that leaves a height peak to valley, ``sqrt(8 r R_t)`` [mm/rev].

    Args:
        peak_um: Heights wanted, any shape.
        corner_radius_mm: Corner radii, shape as the heights or one.

    Raises:
        OutsideModel: A number out of range, or a height that asks for a feed above twice
            the radius.

    Examples:
        >>> round(float(feed_for_peak_mm_rev(3.125, 0.4)), 6)
        0.1
    """
    height = _each(peak_um, "peak_um", 100_000)
    r = _each(corner_radius_mm, "corner_radius_mm", 200)
    feed = np.sqrt(8 * r * height / 1000)
    if np.any(feed > 2 * r):
        most = 500 * float(np.min(np.broadcast_to(r, feed.shape)))
        raise OutsideModel(
            sentence(
                "A corner of {r} mm makes no such profile: its height is at most half the "
                "radius, {most} µm.",
                r=figure(most / 500, "g"),
                most=figure(most, "g"),
            ),
            errors=[
                {"field": "peak_um", "detail": sentence("at most {r}", r=figure(most, "g"))}
            ],
        )
    return feed


def peak_of_mean_um(mean_um: ArrayLike) -> Floats:
    """Height of the profile with an arithmetic mean ``R_a``, four times it [um].

    The same 1/32 as in ``ideal_mean_um``: with the parabola's own mean it is 3.9 times.

    Raises:
        OutsideModel: A number out of range.
    """
    return 4 * _each(mean_um, "mean_um", 25_000)


def least_feed_mm_rev(corner_radius_mm: ArrayLike, min_chip_mm: ArrayLike) -> Floats:
    """Feed below which a turned surface gets rougher again, ``sqrt(2 r h_min)`` [mm/rev].

    Where the chip is thinner than ``h_min`` the edge ploughs and leaves a ridge, so that
    ``R_t = f^2/8r + h_min/2 (1 + r h_min/f^2)`` (Brammertz 1961, from memory); this is the
    feed of its least, where ``R_t = h_min``.

    Args:
        corner_radius_mm: Corner radii, any shape.
        min_chip_mm: Thinnest chips that come off.

    Raises:
        OutsideModel: A number out of range.
    """
    r = _each(corner_radius_mm, "corner_radius_mm", 200)
    chip = _each(min_chip_mm, "min_chip_mm", 10)
    return np.sqrt(2 * r * chip)


def ploughed_peak_um(feed_mm_rev: float, corner_radius_mm: float, min_chip_mm: float) -> float:
    """Peak to valley with the ridge of a ploughing edge (Brammertz 1961, from memory) [um].

    Raises:
        OutsideModel: As ``parabola_peak_um``.
    """
    ideal = parabola_peak_um(feed_mm_rev, corner_radius_mm)
    chip = require_positive(min_chip_mm, "min_chip_mm", most=10)
    return ideal + 500 * chip * (1 + corner_radius_mm * chip / feed_mm_rev**2)


def feeds_for_finish(
    peak_um: ArrayLike, corner_radius_mm: ArrayLike, min_chip_mm: ArrayLike | None = None
) -> FinishFeeds:
    """Feeds for wanted heights, and whether an edge would rub at them.

    Raises:
        OutsideModel: As ``feed_for_peak_mm_rev`` and ``least_feed_mm_rev``.
    """
    feed = feed_for_peak_mm_rev(peak_um, corner_radius_mm)
    if min_chip_mm is None:
        return FinishFeeds(feed, np.full(feed.shape, np.nan), np.zeros(feed.shape, bool))
    least = least_feed_mm_rev(corner_radius_mm, min_chip_mm)
    feed, least = np.broadcast_arrays(feed, least)
    return FinishFeeds(feed, least, feed < least)


def _each(values: ArrayLike, name: str, most: float) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    wrong = array[~((array > 0) & (array <= most))]
    if wrong.size:
        require_positive(float(wrong.flat[0]), name, most=most)
    return array


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
