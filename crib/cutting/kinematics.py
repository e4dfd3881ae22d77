"""Speed, revolutions and time in cut; constant surface speed under a spindle limit.

Formula letters: v cutting speed [m/min], D diameter and r radius [mm], N spindle speed
[1/min], f feed [mm/rev], n Taylor's exponent. Textbook kinematics (e.g. Groover,
Fundamentals of Modern Manufacturing, chapter on machining, from memory); the closed forms
under a clamp are derived here and checked by quadrature in the tests.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from crib.errors import OutsideModel
from crib.sentence import figure, sentence

#: Strokes of the headstock that a part can be fed through.
_MOST_STROKES: Final = 10_000


def require_positive(value: float, column: str, *, most: float) -> float:
    """The value, if it is a number above 0 and not above ``most``.

    Raises:
        OutsideModel: It is not; the sentence names the column and the range.
    """
    number = float(value)
    if not (math.isfinite(number) and 0 < number <= most):
        raise OutsideModel(
            sentence(
                "{column} is {value}; it has to be above 0 and at most {most}.",
                column=column,
                value=repr(value),
                most=figure(most, "g"),
            ),
            facts={
                "quantity": column,
                "range": sentence("0 to {most}", most=figure(most, "g")),
            },
            errors=[
                {
                    "field": column,
                    "detail": sentence("above 0 and at most {most}", most=figure(most, "g")),
                }
            ],
        )
    return number


def spindle_rpm(cutting_speed_m_min: float, diameter_mm: float) -> float:
    """Spindle speed ``N = 1000 v / (pi D)`` [1/min].

    Raises:
        OutsideModel: A speed or diameter that is not above 0, or above 10,000.

    Examples:
        >>> round(spindle_rpm(100, 20), 3)
        1591.549
    """
    v = require_positive(cutting_speed_m_min, "cutting_speed_m_min", most=10_000)
    d = require_positive(diameter_mm, "diameter_mm", most=10_000)
    return 1000 * v / (math.pi * d)


def surface_speed_m_min(rpm: float, diameter_mm: float) -> float:
    """Cutting speed ``v = pi D N / 1000`` [m/min].

    Examples:
        >>> round(surface_speed_m_min(10_000, 3), 4)
        94.2478
    """
    return math.pi * diameter_mm * rpm / 1000


def clamp_diameter_mm(cutting_speed_m_min: float, limit_rpm: float) -> float:
    """Diameter below which the spindle limit holds: ``1000 v / (pi N_max)`` [mm]."""
    return 1000 * cutting_speed_m_min / (math.pi * limit_rpm)


def feed_minutes(length_mm: float, feed_mm_rev: float, rpm: float) -> float:
    """Minutes to feed a length: ``L / (f N)``."""
    return length_mm / (feed_mm_rev * rpm)


def removal_rate_mm3_s(
    cutting_speed_m_min: float, feed_mm_rev: float, depth_mm: float
) -> float:
    """Metal removed when turning: ``1000/60 v f d`` [mm3/s]."""
    return 1000 / 60 * cutting_speed_m_min * feed_mm_rev * depth_mm


def point_allowance_mm(diameter_mm: float, point_angle_deg: float) -> float:
    """Extra feed until a drill cuts at full diameter: ``D/2 tan(90 - theta/2)`` [mm].

    Raises:
        OutsideModel: A point angle outside 0 to 180 degrees.
    """
    angle = require_positive(point_angle_deg, "point_angle_deg", most=180)
    return diameter_mm / 2 * math.tan(math.radians(90 - angle / 2))


class RadialCut(NamedTuple):
    """One cut along the radius.

    Attributes:
        minutes: Time in cut [min].
        equivalent_min: Minutes at ``speed_m_min`` that wear the edge as much.
        speed_m_min: Real cutting speed at the larger radius, the fastest of the cut.
        length_m: Spiral that the edge travels in metal [m].
    """

    minutes: float
    equivalent_min: float
    speed_m_min: float
    length_m: float


def radial_cut(
    cutting_speed_m_min: float,
    feed_mm_rev: float,
    outer_radius_mm: float,
    inner_radius_mm: float,
    limit_rpm: float = math.inf,
    taylor_n: float = 0.25,
) -> RadialCut:
    """Facing, grooving or parting between two radii at constant surface speed.

    Outside the clamp radius ``rc = 1000 v / (2 pi N_max)`` the speed is v and the time
    ``pi (ro^2 - rc^2) / (1000 v f)``; inside it the spindle turns at N_max, the time is
    ``(rc - r1) / (f N_max)`` and the speed falls with r. There wear falls faster than time:
    with life proportional to v^(-1/n) the equivalent minutes at the speed of radius r are
    ``r / (f N_max (1/n + 1)) (1 - (r1/r)^(1/n + 1))``.

    Args:
        cutting_speed_m_min: Programmed speed [m/min].
        feed_mm_rev: Feed along the radius [mm/rev].
        outer_radius_mm: The larger radius, at the raw surface [mm].
        inner_radius_mm: The smaller radius, 0 for the centre [mm].
        limit_rpm: The lowest spindle limit [1/min].
        taylor_n: Exponent of Taylor's curve.
    """
    v, f, ro, ri = cutting_speed_m_min, feed_mm_rev, outer_radius_mm, inner_radius_mm
    clamp = 1000 * v / (2 * math.pi * limit_rpm)
    low = max(ri, min(clamp, ro))
    outside = math.pi * (ro * ro - low * low) / (1000 * v * f)
    inside = max(0.0, low - ri) / (f * limit_rpm)
    power = 1 / taylor_n + 1
    equal_inside = 0.0
    if inside > 0:
        equal_inside = low / (f * limit_rpm * power) * (1 - (ri / low) ** power)
    # A cut wholly inside the clamp refers to the real speed at its own outer radius.
    speed = v if ro >= clamp else surface_speed_m_min(limit_rpm, 2 * ro)
    length = math.pi * (ro * ro - ri * ri) / f / 1000
    return RadialCut(outside + inside, outside + equal_inside, speed, length)


def regrips(length_mm: float, stroke_mm: float) -> int:
    """Times the bar is re-gripped for a part longer than the headstock stroke.

    ``ceil(length / stroke) - 1``; the length is all that is fed: part, cut-off, facing stock.

    Raises:
        OutsideModel: A length or stroke that is not above 0, a stroke of next to nothing.

    Examples:
        >>> regrips(300, 210), regrips(210, 210)
        (1, 0)
    """
    length = require_positive(length_mm, "length_mm", most=100_000)
    stroke = require_positive(stroke_mm, "headstock_stroke_mm", most=100_000)
    if length > _MOST_STROKES * stroke:
        raise OutsideModel(
            sentence(
                "headstock_stroke_mm is {stroke_mm}; the part would be re-gripped more "
                "than {most_strokes} times.",
                stroke_mm=repr(stroke_mm),
                most_strokes=_MOST_STROKES,
            ),
            errors=[
                {"field": "headstock_stroke_mm", "detail": sentence("too short for the part")}
            ],
        )
    # A part of exactly n strokes needs n, however the division rounds.
    return max(0, math.ceil(length / stroke - 1e-9) - 1)


def parts_per_bar(
    bar_length_mm: float, remnant_mm: float, part_length_mm: float, cutoff_width_mm: float
) -> int:
    """Whole parts from one bar: ``floor((bar - remnant) / (part + cut-off))``, 0 if none.

    Raises:
        OutsideModel: A length that is not a number, negative, or not above 0 where it must be.

    Examples:
        >>> parts_per_bar(3000, 250, 24, 2)
        105
    """
    bar = require_positive(bar_length_mm, "bar_length_mm", most=100_000)
    part = require_positive(part_length_mm, "part_length_mm", most=100_000)
    for value, column in (
        (remnant_mm, "bar_remnant_mm"),
        (cutoff_width_mm, "cutoff_width_mm"),
    ):
        if not (math.isfinite(value) and 0 <= value <= 100_000):
            raise OutsideModel(
                sentence(
                    "{column} is {value}; it has to be from 0 to 100000.",
                    column=column,
                    value=repr(value),
                ),
                facts={"quantity": column, "range": sentence("0 to 100000")},
                errors=[{"field": column, "detail": sentence("from 0 to 100000")}],
            )
    return max(0, math.floor((bar - remnant_mm) / (part + cutoff_width_mm) + 1e-9))
