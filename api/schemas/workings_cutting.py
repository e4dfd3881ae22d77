"""Shapes of the calculations about the cut."""

from __future__ import annotations

from api.schemas.fields import Choice, Length, Number, Shape, Text, Whole, listed
from crib.cutting.operations import KINDS, LIMITS


class EngagedTimeBody(Shape):
    """One operation as operations.csv has it, and whose limits may hold the spindle back."""

    part = Text(explains="As in operations.csv; the answer does not depend on it.")
    sequence = Whole(explains="Likewise.")
    tool_number = Whole(explains="Likewise.")
    path = Whole(explains="Likewise.")
    tool_spec = Text(explains="Likewise.")
    kind = Choice(KINDS, required=True)
    start_diameter_mm = Length(
        least=0,
        explains="Diameter before the cut; drill, ream, tap, mill and saw: the tool's own.",
    )
    end_diameter_mm = Length(least=0, explains="Diameter after the cut, 0 to the centre.")
    length_mm = Length(above=0, explains="Length fed per pass, lead-in included.")
    feed_mm_rev = Number(above=0, explains="Feed per revolution; tap and thread: the pitch.")
    depth_mm = Length(
        above=0,
        explains="Depth of cut on the radius; groove: its depth; thread: the first pass.",
    )
    passes = Whole(least=1, explains="Drill: pecks; thread: spring passes apart.")
    spring_passes = Whole(explains="Thread: passes without infeed after the last.")
    cutting_speed_m_min = Number(above=0)
    spindle_rpm = Number(
        above=0, explains="Beside a cutting speed it is the program's own limit."
    )
    engaged_s = Number(above=0, explains="Measured seconds in cut; overrides the computed.")
    contact_share = Number(
        above=0,
        most=1,
        explains="Share of the feed time in contact where the feed oscillates, default 1.",
    )
    spindle_max_rpm = Number(above=0, explains="The machine's limit.")
    station_max_rpm = Number(above=0, explains="The station's (a live spindle's) limit.")
    holder_max_rpm = Number(above=0, explains="The holder's limit.")
    tool_max_rpm = Number(above=0, explains="The tool's limit.")
    n = Number(above=0, explains="Taylor's exponent for equivalent_min, default 0.25.")


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


class RoughnessBody(Shape):
    """Feed and corner of a turning edge."""

    feed_mm_rev = Number(above=0, most=50, required=True)
    corner_radius_mm = Length(above=0, most=200, required=True)


class RoughnessAnswer(Shape):
    """The ideal profile; a real surface is rougher."""

    peak_um = Number(required=True, explains="Peak to valley.")
    mean_um = Number(required=True, explains="Arithmetic mean.")


class ThreadPassesBody(Shape):
    """Depth of a thread on the radius and of its first pass."""

    depth_mm = Length(above=0, most=100, required=True)
    first_depth_mm = Length(above=0, most=100, required=True)
    spring_passes = Whole(most=100)


class ThreadPassesAnswer(Shape):
    """Passes, and the depth that each cutting pass reaches."""

    cutting_passes = Whole(required=True)
    passes = Whole(required=True)
    depths_mm = listed(Length(), most=10_000, required=True)


class BarBody(Shape):
    """A bar, what of it cannot be used, and one part."""

    bar_length_mm = Length(above=0, most=100_000, required=True)
    bar_remnant_mm = Length(least=0, most=100_000, required=True)
    part_length_mm = Length(above=0, most=100_000, required=True)
    cutoff_width_mm = Length(least=0, most=100_000, required=True)
    headstock_stroke_mm = Length(above=0, most=100_000)


class BarAnswer(Shape):
    """Whole parts of the bar; re-grips are null without a stroke."""

    parts = Whole(required=True)
    regrips = Whole(required=True, allow_none=True)
