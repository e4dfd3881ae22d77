"""Shapes of the calculations by themselves."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.fields import (
    Choice,
    Length,
    Number,
    Shape,
    Text,
    Whole,
    YesNo,
    listed,
    within,
)
from api.schemas.metrology import LengthBudgetShape, OutlierShape
from crib.cutting.operations import LIMITS
from crib.metrology.budget import DEFAULT_GAUGE_UNCERTAINTY_MM, DEFAULT_RESOLUTION_MM
from crib.records.catalogue import MACHINES, OPERATIONS, TOOL_LIFE, TOOL_SPECS
from crib.records.measures import FLANK_WEAR

_LIMIT = MACHINES.column("spindle_max_rpm")


class ToolLifeBody(Shape):
    """One cut and the constants of its curve."""

    cutting_speed_m_min = Number(
        **within(OPERATIONS.column("cutting_speed_m_min")),
        explains="This or cutting_speed_ft_min is required.",
    )
    cutting_speed_ft_min = Number(least=0.33, most=32_808)
    n = Number(**within(TOOL_LIFE.column("n")), required=True)
    c_m_min = Number(
        **within(TOOL_LIFE.column("c_m_min")), explains="This or c_ft_min is required."
    )
    c_ft_min = Number(
        least=0.33, most=328_084, explains="Without references it holds for 1 in/rev and 1 in."
    )
    feed_mm_rev = Number(**within(OPERATIONS.column("feed_mm_rev")))
    feed_in_rev = Number(least=4e-6, most=1.968, explains="In place of feed_mm_rev.")
    depth_mm = Length(**within(OPERATIONS.column("depth_mm")))
    feed_exponent = Number(**within(TOOL_LIFE.column("feed_exponent")))
    depth_exponent = Number(**within(TOOL_LIFE.column("depth_exponent")))
    reference_feed_mm_rev = Number(**within(TOOL_LIFE.column("reference_feed_mm_rev")))
    reference_feed_in_rev = Number(
        least=4e-6, most=1.968, explains="In place of reference_feed_mm_rev."
    )
    reference_depth_mm = Length(**within(TOOL_LIFE.column("reference_depth_mm")))


class ToolLifeAnswer(Shape):
    """The promised life."""

    life_min = Number(required=True)


class LifeBody(Shape):
    """How far one edge got, in any unit of use that is the same for all."""

    age = Number(least=1e-6, required=True)
    ended = YesNo(required=True, explains="false: taken out early, still good.")


class LifeFitBody(Shape):
    """Lives of like edges, and what to look ahead from."""

    lives = listed(LifeBody, least=1, most=100_000, required=True)
    age = Number(least=0, explains="Use so far of an edge to look ahead from.")
    ahead = listed(
        Number(least=0), most=1_000, explains="Uses ahead at which survival is wanted."
    )
    promised_life = Number(least=1e-6, explains="What constants or experience promise.")
    spread = Number(
        least=0.01, most=3, explains="Deviation of ln(life) about the promise, default 0.4."
    )


class WeibullShape(Shape):
    """A Weibull law; the scale in the unit of the ages."""

    shape = Number(required=True)
    scale = Number(required=True)


class LikelihoodShape(WeibullShape):
    """The law of greatest likelihood."""

    log_likelihood = Number(required=True)


class ConstantShape(Shape):
    """The likeliest life that does not age: its mean."""

    scale = Number(required=True)
    log_likelihood = Number(required=True)


class SurvivalShape(Shape):
    """The chance of reaching so much use more."""

    ahead = Number(required=True)
    survival = Number(required=True)


class AheadShape(Shape):
    """Use left of one edge: p05 is what one in twenty does not reach, and so on."""

    age = Number(required=True)
    p05 = Number(required=True)
    p10 = Number(required=True)
    p50 = Number(required=True)
    p90 = Number(required=True)
    survival = listed(SurvivalShape, most=1_000, required=True)


class LifeFitAnswer(Shape):
    """Maximum likelihood, and the posterior that a forecast would use."""

    failed = Whole(required=True)
    taken_out = Whole(required=True)
    maximum_likelihood = fields.Nested(LikelihoodShape, required=True, allow_none=True)
    why_no_maximum = Text(required=True, allow_none=True)
    constant_rate = fields.Nested(ConstantShape, required=True, allow_none=True)
    posterior = fields.Nested(WeibullShape, required=True)
    new_edge = fields.Nested(AheadShape, required=True)
    aged_edge = fields.Nested(AheadShape, required=True, allow_none=True)
    doubted = listed(
        Text(),
        most=100_000,
        required=True,
        explains="Lives that the posterior leaves out until somebody has looked at them.",
    )


class ReorderBody(Shape):
    """Demand, delivery, and what ordering and keeping cost."""

    mean_per_day = Number(least=0, required=True)
    deviation_per_day = Number(least=0, required=True)
    lead_days = Number(least=0, required=True)
    service_level = Number(
        above=0, most=1, required=True, explains="Chance not to run out before delivery."
    )
    order_cost = Number(least=0, explains="Cost of one order; with holding_cost.")
    holding_cost = Number(least=1e-9, explains="Cost of keeping one piece for a day.")


class ReorderAnswer(Shape):
    """When to order; how much is null where the costs are not given."""

    reorder_point = Number(required=True)
    safety_stock = Number(required=True)
    order_quantity = Number(required=True, allow_none=True)
    orders_per_day = Number(required=True, allow_none=True)
    cost_per_day = Number(required=True, allow_none=True)


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

    n = Number(**within(TOOL_LIFE.column("n")), required=True)
    c_m_min = Number(**within(TOOL_LIFE.column("c_m_min")), required=True)
    change_min = Number(least=0.001, most=10_000, required=True)
    machine_rate_per_min = Number(least=1e-4, most=1e6, required=True)
    edge_cost = Number(least=0, required=True)
    path_length_mm = Length(least=0.001, most=1e7, required=True)
    feed_mm_rev = Number(**within(OPERATIONS.column("feed_mm_rev")), required=True)
    diameter_mm = Length(
        least=0.01, most=1_000, explains="Needed for minutes, cost, and to keep to a limit."
    )
    handling_min = Number(least=0)
    spindle_max_rpm = Number(
        **within(_LIMIT), explains="The machine's limit; no speed beyond the lowest is advised."
    )
    station_max_rpm = Number(
        **within(_LIMIT), explains="The station's (a live spindle's) limit."
    )
    holder_max_rpm = Number(**within(_LIMIT), explains="The holder's limit.")
    tool_max_rpm = Number(**within(_LIMIT), explains="The tool's limit.")


class SpeedShape(Shape):
    """A speed and what it brings; minutes, cost and revolutions are null without a diameter."""

    cutting_speed_m_min = Number(required=True)
    life_min = Number(required=True)
    cut_min = Number(required=True, allow_none=True)
    part_min = Number(required=True, allow_none=True)
    part_cost = Number(required=True, allow_none=True)
    spindle_rpm = Number(required=True, allow_none=True)
    limited_by = Choice(
        LIMITS,
        required=True,
        allow_none=True,
        explains="Whose limit keeps the speed below the optimum.",
    )


class EconomicsAnswer(Shape):
    """Both optima, or the highest speed that the spindle reaches below them."""

    minimum_cost = fields.Nested(SpeedShape, required=True)
    maximum_output = fields.Nested(SpeedShape, required=True)


class SeriesBody(Shape):
    """Repeats of one length."""

    readings_mm = listed(Length(least=-1e5, most=1e5), least=1, most=1_000, required=True)
    tolerance_mm = Length(**within(TOOL_SPECS.column("tolerance_mm")), required=True)
    gauge_uncertainty_mm = Length(
        least=0,
        most=1_000,
        load_default=DEFAULT_GAUGE_UNCERTAINTY_MM,
        explains="Standard uncertainty of gauge and master.",
    )
    resolution_mm = Length(
        least=0,
        most=1_000,
        load_default=DEFAULT_RESOLUTION_MM,
        explains="Step of the gauge's display.",
    )


class SeriesAnswer(Shape):
    """Statistics of one length; null where one repeat tells nothing."""

    mean_mm = Length(required=True)
    standard_deviation_mm = Length(required=True, allow_none=True)
    type_a_mm = Length(required=True, allow_none=True)
    expanded_uncertainty_mm = Length(
        required=True,
        allow_none=True,
        explains="Covers 95.45 %, as accepted goes by: k is 2 for many repeats, more for few.",
    )
    accepted = YesNo(
        required=True,
        allow_none=True,
        explains="Every repeat within the tolerance less the uncertainty; null: one repeat "
        "alone shows no spread, measure again.",
    )
    outlier = fields.Nested(OutlierShape, required=True, allow_none=True)
    budget = fields.Nested(LengthBudgetShape, required=True, allow_none=True)


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

    wear_land_mm = Length(**within(FLANK_WEAR), required=True)
    clearance_deg = Number(**within(TOOL_SPECS.column("clearance_deg")), required=True)
    on_diameter = YesNo(required=True)


class PartSizeAnswer(Shape):
    """How much an outside cut grows."""

    growth_mm = Length(required=True)


class CharacterAnswer(Shape):
    """The check character of a text, and the text with it."""

    character = Text(required=True)
    code = Text(required=True)
