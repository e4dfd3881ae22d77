"""Speed or feed that promises a wanted life, and how far the exponent's own doubt moves it.

``v (f/f_ref)^a (d/d_ref)^b = C / T^n`` is asked backwards. Parts per edge of one straight cut
are ``N = T / t`` with ``t = pi D L / (1000 v f)`` minutes in cut each, so that N goes with
``v^(1 - 1/n)`` and ``f^(1 - a/n)``: closed forms both. Lives seen at one cut fix the level
there; away from it the exponent alone carries the answer, and its doubt with it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.life.constants_estimate import TENTH
from crib.life.taylor import (
    TaylorConstants,
    constants_through_test,
    life_min,
    refuse_no_feed,
)
from crib.sentence import figure, sentence

#: A power so near to 0 that the life in parts does not hang on what is asked for.
_NO_POWER: Final = 1e-3


@dataclass(frozen=True, slots=True)
class StraightCut:
    """What one part takes: a length along a diameter.

    Attributes:
        diameter_mm: Diameter on which the speed counts.
        length_mm: Length fed per part.
    """

    diameter_mm: float
    length_mm: float

    def revolution_m(self) -> float:
        """Way round once [m]."""
        return math.pi * self.diameter_mm / 1000


def parts_per_edge(
    cutting_speed_m_min: ArrayLike,
    feed_mm_rev: ArrayLike,
    cut: StraightCut,
    constants: TaylorConstants,
    depth_mm: ArrayLike | None = None,
) -> Floats:
    """Parts that an edge promises, ``T 1000 v f / (pi D L)``; any shape, broadcast.

    Raises:
        OutsideModel: A speed, feed or depth that is not above 0.
    """
    life = life_min(cutting_speed_m_min, feed_mm_rev, depth_mm, constants)
    turns = np.asarray(cutting_speed_m_min, dtype=np.float64) / cut.revolution_m()
    return life * turns * np.asarray(feed_mm_rev, dtype=np.float64) / cut.length_mm


def speed_for_parts_m_min(
    parts: ArrayLike,
    feed_mm_rev: ArrayLike,
    cut: StraightCut,
    constants: TaylorConstants,
    depth_mm: ArrayLike | None = None,
) -> Floats:
    """Speed at which an edge promises so many parts, ``(N / N_1)^(n / (n - 1))`` [m/min].

    ``N_1`` are the parts at 1 m/min. From n = 1 on a slower cut makes no more parts.

    Raises:
        OutsideModel: n of 1 or more, or a number that is not above 0.
    """
    power = 1 - 1 / constants.n
    if not slower_makes_more(constants):
        raise OutsideModel(
            sentence(
                "With n = {n} a slower cut makes no more parts, so no speed answers this. "
                "Ask for a life in minutes, or check n.",
                n=figure(constants.n, "g"),
            ),
            errors=[{"field": "n", "detail": sentence("must be below 1 for a life in parts")}],
        )
    wanted = np.log(_wanted(parts))
    at_one = _log_parts_at_one(constants, cut, depth_mm)
    at_one = (
        at_one
        + np.log(np.asarray(feed_mm_rev, dtype=np.float64))
        + _feed_part(feed_mm_rev, constants)
    )
    return np.exp(np.clip((wanted - at_one) / power, -500, 500))


def feed_for_parts_mm_rev(
    parts: ArrayLike,
    cutting_speed_m_min: ArrayLike,
    cut: StraightCut,
    constants: TaylorConstants,
    depth_mm: ArrayLike | None = None,
) -> Floats:
    """Feed at which an edge promises so many parts [mm/rev].

    Parts go with ``f^(1 - a/n)``: up to a = n a faster feed makes more parts, above it fewer.

    Raises:
        OutsideModel: a of 0, a of n, or a number that is not above 0.
    """
    refuse_no_feed(constants)
    c = constants
    power = feed_power(c)
    if not power:
        raise OutsideModel(
            sentence(
                "With equal exponents of feed and life ({a}) no feed changes the parts of an "
                "edge. Ask for a life in minutes, or for a speed.",
                a=figure(c.feed_exponent, "g"),
            ),
            errors=[{"field": "feed_exponent", "detail": sentence("equals n")}],
        )
    v = np.log(np.asarray(cutting_speed_m_min, dtype=np.float64))
    at_one = _log_parts_at_one(c, cut, depth_mm) + v * (1 - 1 / c.n)
    at_one = at_one + c.feed_exponent / c.n * math.log(c.reference_feed_mm_rev or 1.0)
    return np.exp(np.clip((np.log(_wanted(parts)) - at_one) / power, -500, 500))


def curves_in_doubt(
    constants: TaylorConstants,
    exponent: str,
    standard_error: float,
    seen_at: tuple[float, float | None, float | None],
) -> tuple[TaylorConstants, TaylorConstants]:
    """Curves of the lowest and highest exponent that may be so, alike where lives were seen.

    The middle 80 % of the exponent, taken as normal and kept within what a tool can have. With
    n the powers a/n and b/n stay; with the feed's exponent everything else does.

    Args:
        constants: The curve.
        exponent: ``n`` or ``feed_exponent``.
        standard_error: Its standard error.
        seen_at: Speed, feed and depth at which the level is known.

    Raises:
        OutsideModel: An error that is not a number from 0, or a curve that no tool has.
    """
    if not (math.isfinite(standard_error) and standard_error >= 0):
        raise OutsideModel(
            sentence("A standard error has to be a number from 0."),
            errors=[{"field": f"{exponent}_se", "detail": sentence("must be from 0")}],
        )
    c, life = constants, float(life_min(*seen_at, constants))
    found = []
    for side in (-TENTH * standard_error, TENTH * standard_error):
        if exponent == "n":
            n = min(max(c.n + side, 0.01), 2.0)
            feed, depth = (n / c.n * one for one in (c.feed_exponent, c.depth_exponent))
            other = replace(c, n=n, feed_exponent=feed, depth_exponent=depth)
        else:
            other = replace(c, feed_exponent=min(max(c.feed_exponent + side, 0.0), 5.0))
        found.append(constants_through_test(other, seen_at[0], life, *seen_at[1:]))
    return found[0], found[1]


def range_about(answer: float, ends: Iterable[float]) -> tuple[float | None, float | None]:
    """Least and greatest answer of the curves in doubt; None where none lies on that side.

    Args:
        answer: The answer of the curve itself.
        ends: Those of the curves in doubt that have one.
    """
    found = list(ends)
    lower = [end for end in found if end <= answer * (1 + 1e-9)]
    upper = [end for end in found if end >= answer * (1 - 1e-9)]
    return min(lower, default=None), max(upper, default=None)


def slower_makes_more(constants: TaylorConstants) -> bool:
    """Whether a slower cut makes more parts per edge: n below 1."""
    return 1 - 1 / constants.n <= -_NO_POWER


def feed_power(constants: TaylorConstants) -> float:
    """Power of the feed that the parts of an edge go with, ``1 - a/n``; about 0 counts as 0."""
    power = 1 - constants.feed_exponent / constants.n
    return 0.0 if abs(power) < _NO_POWER else power


def _wanted(parts: ArrayLike) -> Floats:
    array = np.asarray(parts, dtype=np.float64)
    if not np.all(np.isfinite(array) & (array > 0)):
        raise OutsideModel(
            sentence("A wanted life has to be above 0."),
            errors=[{"field": "life_parts", "detail": sentence("must be above 0")}],
        )
    return array


def _log_parts_at_one(
    constants: TaylorConstants, cut: StraightCut, depth_mm: ArrayLike | None
) -> Floats:
    """Ln parts at 1 m/min and 1 mm/rev, the feed's share of the life left out."""
    c = constants
    depth = np.asarray(0.0)
    if depth_mm is not None and c.depth_exponent > 0:
        depth = np.log(np.asarray(depth_mm, dtype=np.float64) / (c.reference_depth_mm or 1.0))
    log_life = (math.log(c.c_m_min) - c.depth_exponent * depth) / c.n
    return np.asarray(log_life - math.log(cut.revolution_m() * cut.length_mm))


def _feed_part(feed_mm_rev: ArrayLike, constants: TaylorConstants) -> Floats:
    c = constants
    ratio = np.asarray(feed_mm_rev, dtype=np.float64) / (c.reference_feed_mm_rev or 1.0)
    return np.asarray(-c.feed_exponent / c.n * np.log(ratio))
