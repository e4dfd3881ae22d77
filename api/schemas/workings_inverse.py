"""Shapes of the calculations that ask for a cut: by a wanted life, by a wanted finish."""

from __future__ import annotations

from api.schemas.fields import Choice, Length, Number, Shape, Text, YesNo, within
from crib.cutting.operations import LIMITS
from crib.records.catalogue import MACHINES, OPERATIONS, TOOL_LIFE

_OF, _LIMIT = OPERATIONS.column, MACHINES.column("spindle_max_rpm")


class WantedLifeBody(Shape):
    """A wanted life, the curve, and what of the cut stays as it is."""

    life_min = Number(
        least=0.01, most=100_000, explains="Minutes in cut. This or life_parts is required."
    )
    life_parts = Number(
        least=0.1, most=1e9, explains="Parts of one edge; needs diameter_mm and length_mm."
    )
    n = Number(**within(TOOL_LIFE.column("n")), required=True)
    c_m_min = Number(**within(TOOL_LIFE.column("c_m_min")), required=True)
    depth_mm = Length(**within(_OF("depth_mm")))
    feed_exponent = Number(**within(TOOL_LIFE.column("feed_exponent")))
    depth_exponent = Number(**within(TOOL_LIFE.column("depth_exponent")))
    reference_feed_mm_rev = Number(**within(TOOL_LIFE.column("reference_feed_mm_rev")))
    reference_depth_mm = Length(**within(TOOL_LIFE.column("reference_depth_mm")))
    diameter_mm = Length(**within(_OF("start_diameter_mm")), explains="Of the cut.")
    length_mm = Length(**within(_OF("length_mm")), explains="Length fed per part.")


class SpeedForLifeBody(WantedLifeBody):
    """The feed stays, the speed is asked for."""

    n_se = Number(
        least=0,
        most=2,
        explains="Standard error of n, as tool-life-constants gives it; with it comes a range.",
    )
    seen_speed_m_min = Number(
        **within(_OF("cutting_speed_m_min")),
        explains="Speed at which the lives were seen. The range is narrowest there.",
    )
    feed_mm_rev = Number(**within(_OF("feed_mm_rev")))
    spindle_max_rpm = Number(**within(_LIMIT), explains="The machine's limit.")
    station_max_rpm = Number(
        **within(_LIMIT), explains="The station's (a live spindle's) limit."
    )
    holder_max_rpm = Number(**within(_LIMIT), explains="The holder's limit.")
    tool_max_rpm = Number(**within(_LIMIT), explains="The tool's limit.")


class SpeedForLifeAnswer(Shape):
    """The speed, its range, and what the spindle really reaches."""

    cutting_speed_m_min = Number(required=True)
    low_m_min = Number(
        required=True,
        allow_none=True,
        explains="80 % range; null: none known.",
    )
    high_m_min = Number(required=True, allow_none=True, explains="Its other end.")
    spindle_rpm = Number(
        required=True, allow_none=True, explains="At the diameter; null: none given."
    )
    limited_by = Choice(LIMITS, required=True, allow_none=True)
    real_speed_m_min = Number(required=True, explains="With the spindle held at its limit.")
    life_min = Number(required=True, explains="Minutes in cut at the real speed.")
    life_parts = Number(
        required=True, allow_none=True, explains="Parts there; null: cut not given."
    )
    caution = Text(required=True)


class FeedForLifeBody(WantedLifeBody):
    """The speed stays, the feed is asked for."""

    cutting_speed_m_min = Number(**within(_OF("cutting_speed_m_min")), required=True)
    feed_exponent_se = Number(
        least=0,
        most=5,
        explains="Standard error of the feed's exponent; with it comes a range.",
    )
    seen_feed_mm_rev = Number(
        **within(_OF("feed_mm_rev")),
        explains="Feed at which the lives were seen. The range is narrowest there.",
    )


class FeedForLifeAnswer(Shape):
    """The feed and its range."""

    feed_mm_rev = Number(required=True)
    low_mm_rev = Number(
        required=True,
        allow_none=True,
        explains="80 % range; null: none known.",
    )
    high_mm_rev = Number(required=True, allow_none=True, explains="Its other end.")
    life_min = Number(required=True)
    life_parts = Number(
        required=True, allow_none=True, explains="Parts there; null: cut not given."
    )
    faster_makes_more = YesNo(
        required=True,
        allow_none=True,
        explains="Whether a faster feed makes more parts per edge; null: asked in minutes.",
    )
    caution = Text(required=True)


class FeedForFinishBody(Shape):
    """A wanted roughness and the corner that makes it."""

    peak_um = Number(
        least=0.001, most=100_000, explains="Peak to valley. This or mean_um is required."
    )
    mean_um = Number(least=0.001, most=25_000, explains="Arithmetic mean.")
    corner_radius_mm = Length(least=0.001, most=200, required=True)
    edge_radius_mm = Length(
        least=0.0001, most=1, explains="Radius of the cutting edge, to tell when it rubs."
    )
    min_chip_share = Number(
        least=0.01,
        most=1,
        explains="Thinnest chip over that radius, default 0.3; 0.2 to 0.4 is usual (common "
        "practice, no source).",
    )


class FeedForFinishAnswer(Shape):
    """The feed of the ideal profile; a real surface is rougher."""

    feed_mm_rev = Number(required=True)
    peak_um = Number(required=True)
    mean_um = Number(required=True)
    least_feed_mm_rev = Number(
        required=True,
        allow_none=True,
        explains="Below it the edge rubs and the surface gets rougher; null: edge not given.",
    )
    rubs = YesNo(required=True, allow_none=True, explains="Whether feed_mm_rev is below it.")
    ploughed_peak_um = Number(
        required=True, allow_none=True, explains="Peak to valley with the ridge of rubbing."
    )
    caution = Text(required=True)
