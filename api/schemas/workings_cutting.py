"""Shapes of the calculations about the cut."""

from __future__ import annotations

from api.schemas.fields import Choice, Length, Number, Shape, Text, Whole, listed, within
from crib.cutting.operations import KINDS, LIMITS
from crib.records.catalogue import MACHINES, OPERATIONS, PARTS, TOOL_LIFE

_OF, _LIMIT = OPERATIONS.column, MACHINES.column("spindle_max_rpm")


class EngagedTimeBody(Shape):
    """One operation as operations.csv has it, and whose limits may hold the spindle back."""

    part = Text(explains="As in operations.csv; the answer does not depend on it.")
    sequence = Whole(explains="As above.")
    tool_number = Whole(explains="As above.")
    path = Whole(explains="As above.")
    tool_spec = Text(explains="As above.")
    kind = Choice(KINDS, required=True)
    start_diameter_mm = Length(
        **within(_OF("start_diameter_mm")),
        explains="Diameter before the cut; drill, ream, tap, mill and saw: the tool's own.",
    )
    end_diameter_mm = Length(
        **within(_OF("end_diameter_mm")), explains="Diameter after the cut, 0 to the centre."
    )
    length_mm = Length(
        **within(_OF("length_mm")), explains="Length fed per pass, lead-in included."
    )
    feed_mm_rev = Number(
        **within(_OF("feed_mm_rev")), explains="Feed per revolution; tap and thread: the pitch."
    )
    depth_mm = Length(
        **within(_OF("depth_mm")),
        explains="Depth of cut on the radius; groove: its depth; thread: the first pass. "
        "Where both diameters are given it only says how many passes there are.",
    )
    passes = Whole(least=1, most=10_000, explains="Drill: pecks; thread: spring passes apart.")
    spring_passes = Whole(most=100, explains="Thread: passes without infeed after the last.")
    cutting_speed_m_min = Number(**within(_OF("cutting_speed_m_min")))
    spindle_rpm = Number(
        **within(_OF("spindle_rpm")),
        explains="Beside a cutting speed it is the program's own limit.",
    )
    engaged_s = Number(
        **within(_OF("engaged_s")), explains="Measured seconds in cut; overrides the computed."
    )
    contact_share = Number(
        **within(_OF("contact_share")),
        explains="Share of the feed time in contact where the feed oscillates, default 1.",
    )
    spindle_max_rpm = Number(**within(_LIMIT), explains="The machine's limit.")
    station_max_rpm = Number(
        **within(_LIMIT), explains="The station's (a live spindle's) limit."
    )
    holder_max_rpm = Number(**within(_LIMIT), explains="The holder's limit.")
    tool_max_rpm = Number(**within(_LIMIT), explains="The tool's limit.")
    n = Number(
        **within(TOOL_LIFE.column("n")),
        explains="Taylor's exponent for equivalent_min, default 0.25.",
    )


class EngagedTimeAnswer(Shape):
    """Minutes in cut of one part, and minutes at cutting_speed_m_min that wear as much."""

    spindle_rpm = Number(
        required=True, allow_none=True, explains="The highest reached; null: no bound known."
    )
    limited_by = Choice((*LIMITS, "program"), required=True, allow_none=True)
    cutting_speed_m_min = Number(
        required=True, allow_none=True, explains="The real speed where it is fastest."
    )
    clamp_diameter_mm = Length(
        required=True, allow_none=True, explains="Below it the limit holds."
    )
    engaged_min = Number(required=True)
    equivalent_min = Number(required=True)
    length_cut_m = Number(required=True, allow_none=True, explains="Path through metal.")
    passes = Whole(required=True)
    depth_mm = Length(
        required=True,
        allow_none=True,
        explains="Depth of each pass that wear is worked out with. Turn and bore: where both "
        "diameters are given, the passes share it equally.",
    )


class RoughnessBody(Shape):
    """Feed and corner of a turning edge."""

    feed_mm_rev = Number(**within(_OF("feed_mm_rev")), required=True)
    corner_radius_mm = Length(least=0.001, most=200, required=True)


class RoughnessAnswer(Shape):
    """The ideal profile, the corner as a parabola; a real surface is rougher."""

    peak_um = Number(required=True, explains="Peak to valley.")
    mean_um = Number(
        required=True,
        explains="Arithmetic mean as f²/32r, a quarter of the peak; the parabola's own is "
        "2.6 % more.",
    )


class ThreadPassesBody(Shape):
    """Depth of a thread on the radius and of its first pass."""

    depth_mm = Length(**within(_OF("depth_mm")), required=True)
    first_depth_mm = Length(**within(_OF("depth_mm")), required=True)
    spring_passes = Whole(most=100)


class ThreadPassesAnswer(Shape):
    """Passes, and the depth that each cutting pass reaches."""

    cutting_passes = Whole(required=True)
    passes = Whole(required=True)
    depths_mm = listed(Length(), most=10_000, required=True)


class BarBody(Shape):
    """A bar, what of it cannot be used, and one part."""

    bar_length_mm = Length(**within(MACHINES.column("bar_length_mm")), required=True)
    bar_remnant_mm = Length(**within(MACHINES.column("bar_remnant_mm")), required=True)
    part_length_mm = Length(**within(PARTS.column("part_length_mm")), required=True)
    cutoff_width_mm = Length(**within(PARTS.column("cutoff_width_mm")), required=True)
    headstock_stroke_mm = Length(**within(MACHINES.column("headstock_stroke_mm")))


class BarAnswer(Shape):
    """Whole parts of the bar; re-grips are null without a stroke."""

    parts = Whole(required=True)
    regrips = Whole(required=True, allow_none=True)
