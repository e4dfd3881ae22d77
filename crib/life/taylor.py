"""The speed-life curve: life, speed or constants, each from the others."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.sentence import figure, sentence

#: Lives that the curve answers with [min].
SHORTEST_LIFE_MIN: Final = 1e-9
LONGEST_LIFE_MIN: Final = 1e12


@dataclass(frozen=True, slots=True)
class TaylorConstants:
    """Constants of ``v T^n (f/f_ref)^a (d/d_ref)^b = C``.

    Attributes:
        n: Exponent of life, 0.01 to 2.
        c_m_min: Speed for a life of one minute [m/min].
        feed_exponent: ``a``; 0 leaves the feed out.
        depth_exponent: ``b``; 0 leaves the depth out.
        reference_feed_mm_rev: Feed at which C holds; None: C is for 1 mm/rev.
        reference_depth_mm: Depth at which C holds; None: C is for 1 mm.

    Raises:
        OutsideModel: A constant outside its range.
    """

    n: float
    c_m_min: float
    feed_exponent: float = 0.0
    depth_exponent: float = 0.0
    reference_feed_mm_rev: float | None = None
    reference_depth_mm: float | None = None

    def __post_init__(self) -> None:
        ranges = {
            "n": (0.01, 2.0),
            "c_m_min": (0.1, 100_000.0),
            "feed_exponent": (0.0, 5.0),
            "depth_exponent": (0.0, 5.0),
            "reference_feed_mm_rev": (1e-5, 50.0),
            "reference_depth_mm": (1e-5, 200.0),
        }
        for field in fields(self):
            value = getattr(self, field.name)
            low, high = ranges[field.name]
            if value is None and field.name.startswith("reference"):
                continue
            if value is None or not (math.isfinite(value) and low <= value <= high):
                raise OutsideModel(
                    sentence(
                        "{name} is {value}; it has to be from {low} to {high}.",
                        name=field.name,
                        value=repr(value),
                        low=figure(low, "g"),
                        high=figure(high, "g"),
                    ),
                    facts={
                        "quantity": field.name,
                        "range": sentence(
                            "{low} to {high}", low=figure(low, "g"), high=figure(high, "g")
                        ),
                    },
                    errors=[
                        {
                            "field": field.name,
                            "detail": sentence(
                                "from {low} to {high}",
                                low=figure(low, "g"),
                                high=figure(high, "g"),
                            ),
                        }
                    ],
                )


def _positive(values: ArrayLike, name: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if not np.all(np.isfinite(array) & (array > 0)):
        raise OutsideModel(
            sentence("{name} has to be a number above 0 for a tool life.", name=name),
            facts={"quantity": name},
        )
    return array


def _bite(
    values: ArrayLike | None, reference: float | None, exponent: float, name: str
) -> Floats:
    """``(f/f_ref)^a``; 1 where the exponent is 0 or the value is not given."""
    if values is None or exponent == 0:
        return np.asarray(1.0)
    # Inside an array, NaN stands for not given: that element counts as at the reference.
    array = np.asarray(values, dtype=np.float64)
    ref = 1.0 if reference is None else reference
    return (_positive(np.where(np.isnan(array), ref, array), name) / ref) ** exponent


def life_min(
    cutting_speed_m_min: ArrayLike,
    feed_mm_rev: ArrayLike | None,
    depth_mm: ArrayLike | None,
    constants: TaylorConstants,
) -> Floats:
    """Promised life ``T = (C / (v (f/f_ref)^a (d/d_ref)^b))^(1/n)`` [min].

    Args:
        cutting_speed_m_min: Real cutting speeds, any shape.
        feed_mm_rev: Feeds, shape as the speeds or one; None or NaN: as at the reference.
        depth_mm: Depths of cut, as the feeds.
        constants: The curve.

    Returns:
        Lives, shape as broadcast; kept within 1e-9 to 1e12 min so that a far-off speed
        gives a finite answer.

    Raises:
        OutsideModel: A speed, feed or depth that is not above 0.

    References:
        Taylor, On the Art of Cutting Metals, 1907; the life ends by a criterion of ISO 3685.

    Examples:
        >>> round(float(life_min(50, None, None, TaylorConstants(0.125, 70))), 3)
        14.758
    """
    v = _positive(cutting_speed_m_min, "cutting_speed_m_min")
    c = constants
    f = _bite(feed_mm_rev, c.reference_feed_mm_rev, c.feed_exponent, "feed_mm_rev")
    d = _bite(depth_mm, c.reference_depth_mm, c.depth_exponent, "depth_mm")
    # a product too small for a float lies beyond the longest life anyway
    speed = np.maximum(v * f * d, np.finfo(np.float64).tiny)
    log_life = (math.log(c.c_m_min) - np.log(speed)) / c.n
    return np.exp(np.clip(log_life, math.log(SHORTEST_LIFE_MIN), math.log(LONGEST_LIFE_MIN)))


def speed_for_life_m_min(
    life: ArrayLike,
    constants: TaylorConstants,
    feed_mm_rev: ArrayLike | None = None,
    depth_mm: ArrayLike | None = None,
) -> Floats:
    """Cutting speed that promises a life, ``C / (T^n (f/f_ref)^a (d/d_ref)^b)`` [m/min].

    Args:
        life: Lives wanted [min], any shape.
        constants: The curve.
        feed_mm_rev: Feeds, shape as the lives or one; None or NaN: as at the reference.
        depth_mm: Depths of cut, as the feeds.

    Raises:
        OutsideModel: A life, feed or depth that is not above 0.
    """
    c = constants
    f = _bite(feed_mm_rev, c.reference_feed_mm_rev, c.feed_exponent, "feed_mm_rev")
    d = _bite(depth_mm, c.reference_depth_mm, c.depth_exponent, "depth_mm")
    return np.asarray(c.c_m_min / (_positive(life, "life_min") ** c.n * f * d))


def feed_for_life_mm_rev(
    life: ArrayLike,
    cutting_speed_m_min: ArrayLike,
    constants: TaylorConstants,
    depth_mm: ArrayLike | None = None,
) -> Floats:
    """Feed that promises a life, ``f_ref (C / (v T^n (d/d_ref)^b))^(1/a)`` [mm/rev].

    Args:
        life: Lives wanted [min], any shape.
        cutting_speed_m_min: Real cutting speeds, shape as the lives or one.
        constants: The curve.
        depth_mm: Depths of cut, likewise; None or NaN: as at the reference.

    Raises:
        OutsideModel: A curve whose life does not hang on the feed; a number not above 0.

    Examples:
        >>> curve = TaylorConstants(0.25, 180, 0.35, 0.15)
        >>> round(float(feed_for_life_mm_rev(157.149, 150, curve, 0.8)), 5)
        0.05
    """
    refuse_no_feed(constants)
    c = constants
    speed = np.log(speed_for_life_m_min(life, c, None, depth_mm))
    v = np.log(_positive(cutting_speed_m_min, "cutting_speed_m_min"))
    reference = 1.0 if c.reference_feed_mm_rev is None else c.reference_feed_mm_rev
    return reference * np.exp(np.clip((speed - v) / c.feed_exponent, -500, 500))


def refuse_no_feed(constants: TaylorConstants) -> None:
    """Refuse to ask a curve for a feed where its life does not hang on the feed.

    Raises:
        OutsideModel: The feed's exponent is 0.
    """
    if constants.feed_exponent > 0:
        return
    raise OutsideModel(
        sentence(
            "The feed's exponent is 0: by this curve no feed changes the life. Give the "
            "exponent of the feed, or ask for a speed."
        ),
        errors=[{"field": "feed_exponent", "detail": sentence("must be above 0")}],
    )


def constants_through_test(
    exponents: TaylorConstants,
    cutting_speed_m_min: float,
    life: float,
    feed_mm_rev: float | None = None,
    depth_mm: float | None = None,
) -> TaylorConstants:
    """The curve of known exponents through one test: ``C = v T^n (f/f_ref)^a (d/d_ref)^b``.

    Args:
        exponents: Exponents and references; its C is not looked at.
        cutting_speed_m_min: Speed of the test.
        life: Life that it reached [min].
        feed_mm_rev: Its feed; None: as at the reference.
        depth_mm: Its depth of cut; None: as at the reference.

    Raises:
        OutsideModel: A number that is not above 0, or a C outside its range.

    Examples:
        >>> round(constants_through_test(TaylorConstants(0.125, 1), 50, 14.758).c_m_min, 2)
        70.0
    """
    v = float(_positive(cutting_speed_m_min, "cutting_speed_m_min"))
    c = exponents
    f = _bite(feed_mm_rev, c.reference_feed_mm_rev, c.feed_exponent, "feed_mm_rev")
    d = _bite(depth_mm, c.reference_depth_mm, c.depth_exponent, "depth_mm")
    level = v * float(_positive(life, "life_min")) ** c.n * float(f * d)
    return replace(exponents, c_m_min=level)


def constants_from_two_tests(
    first: tuple[float, float], second: tuple[float, float]
) -> TaylorConstants:
    """Both constants, n and C, through two tests (speed [m/min], life [min]).

    Raises:
        OutsideModel: Equal speeds, or a faster test that lived longer.

    Examples:
        >>> round(constants_from_two_tests((160, 5), (100, 41)).n, 3)
        0.223
    """
    (v1, t1), (v2, t2) = first, second
    _positive([v1, v2, t1, t2], sentence("speed and life of a test"))
    if (v1 - v2) * (t1 - t2) >= 0:
        raise OutsideModel(
            sentence(
                "Of two tests the faster one has to live shorter; {v1} m/min lived {t1} "
                "min and {v2} m/min lived {t2} min.",
                v1=figure(v1, "g"),
                t1=figure(t1, "g"),
                v2=figure(v2, "g"),
                t2=figure(t2, "g"),
            )
        )
    n = math.log(v1 / v2) / math.log(t2 / t1)
    return TaylorConstants(n, v1 * t1**n)
