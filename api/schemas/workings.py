"""Shapes of the calculations by themselves."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.fields import Number, Shape, Text, Whole, YesNo, listed


class ToolLifeBody(Shape):
    """One cut and the constants of its curve."""

    cutting_speed_m_min = Number(above=0, required=True)
    n = Number(above=0, required=True)
    c_m_min = Number(above=0, required=True)
    feed_mm_rev = Number(above=0)
    depth_mm = Number(above=0)
    feed_exponent = Number(least=0)
    depth_exponent = Number(least=0)
    reference_feed_mm_rev = Number(above=0)
    reference_depth_mm = Number(above=0)


class ToolLifeAnswer(Shape):
    """The promised life."""

    life_min = Number(required=True)


class SwapPointBody(Shape):
    """A Weibull life and what a swap and a failure cost."""

    shape = Number(least=0.05, most=1_000, required=True)
    scale = Number(least=1e-9, required=True)
    planned_cost = Number(least=1e-9, required=True)
    failure_cost = Number(least=1e-9, required=True)
    break_rate = Number(least=0)


class SwapPointAnswer(Shape):
    """The age of least cost; null where a planned swap never pays."""

    age = Number(required=True, allow_none=True)
    cost_rate = Number(required=True)
    fails_first_share = Number(required=True)
    why = Text(required=True)


class EconomicsBody(Shape):
    """A curve, what a change costs, and the cut."""

    n = Number(above=0, required=True)
    c_m_min = Number(above=0, required=True)
    change_min = Number(above=0, required=True)
    machine_rate_per_min = Number(above=0, required=True)
    edge_cost = Number(least=0, required=True)
    path_length_mm = Number(above=0, required=True)
    feed_mm_rev = Number(above=0, required=True)
    diameter_mm = Number(above=0)
    handling_min = Number(least=0)


class SpeedShape(Shape):
    """A speed and what it brings; minutes and cost are null without a diameter."""

    cutting_speed_m_min = Number(required=True)
    life_min = Number(required=True)
    cut_min = Number(required=True, allow_none=True)
    part_min = Number(required=True, allow_none=True)
    part_cost = Number(required=True, allow_none=True)


class EconomicsAnswer(Shape):
    """Both optima."""

    minimum_cost = fields.Nested(SpeedShape, required=True)
    maximum_output = fields.Nested(SpeedShape, required=True)


class SeriesBody(Shape):
    """Repeats of one length."""

    readings_mm = listed(Number(least=-1e5, most=1e5), least=1, most=1_000, required=True)
    tolerance_mm = Number(above=0, required=True)
    gauge_uncertainty_mm = Number(least=0)


class SeriesAnswer(Shape):
    """Statistics [mm]; null where one repeat tells nothing."""

    mean = Number(required=True)
    standard_deviation = Number(required=True, allow_none=True)
    type_a = Number(required=True, allow_none=True)
    expanded_uncertainty = Number(required=True, allow_none=True)
    accepted = YesNo(required=True, allow_none=True)


class JobBody(Shape):
    """One job for the bench."""

    name = Text(required=True)
    minutes = Number(least=0, required=True)
    due_min = Number(least=-1e9, required=True)


class BenchOrderBody(Shape):
    """Jobs that are all at hand."""

    jobs = listed(JobBody, most=10_000, required=True)


class JobShape(Shape):
    """A job in its place."""

    name = Text(required=True)
    start_min = Number(required=True)
    finish_min = Number(required=True)
    due_min = Number(required=True)
    lateness_min = Number(required=True)
    late = YesNo(required=True)


class BenchOrderAnswer(Shape):
    """The order by due date, and how few can be late."""

    order = listed(JobShape, most=10_000, required=True)
    greatest_lateness_min = Number(required=True)
    fewest_late = Whole(required=True)
    fewest_late_names = listed(Text(), most=10_000, required=True)
    fewest_late_order = listed(Text(), most=10_000, required=True)


class PartSizeBody(Shape):
    """A worn flank."""

    wear_land_mm = Number(least=0, required=True)
    clearance_deg = Number(least=0, required=True)
    on_diameter = YesNo(required=True)


class PartSizeAnswer(Shape):
    """How much an outside cut grows."""

    growth_mm = Number(required=True)


class CharacterAnswer(Shape):
    """The check character of a text, and the text with it."""

    character = Text(required=True)
    code = Text(required=True)
