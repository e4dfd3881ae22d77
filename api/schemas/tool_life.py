"""Shapes of estimated tool-life constants: from tests sent, and from the shop's lives."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.fields import At, Choice, Length, Number, Shape, Text, Whole, YesNo, listed
from api.schemas.views import AsOfQuery
from crib.life.constants import USES
from crib.life.constants_regression import LAWS
from crib.life.starter import MATERIAL_GROUPS, TOOL_MATERIALS


class CutBody(Shape):
    """A cut whose life is asked."""

    cutting_speed_m_min = Number(
        least=0.01, most=10_000, explains="This or cutting_speed_ft_min is required."
    )
    cutting_speed_ft_min = Number(least=0.03, most=32_808)
    feed_mm_rev = Number(least=1e-5, most=50)
    feed_in_rev = Number(least=4e-7, most=1.968, explains="In place of feed_mm_rev.")
    depth_mm = Length(least=1e-5, most=200)


class TestBody(CutBody):
    """One edge that was run at a known cut."""

    life_min = Number(least=1e-4, most=1e6, required=True, explains="Minutes in cut reached.")
    censored = YesNo(
        load_default=False, explains="Taken out before it was worn: its life was longer."
    )


class ConstantsBody(Shape):
    """Lives at several cuts, and what is known before."""

    tests = listed(TestBody, least=1, most=5_000, required=True)
    prior = Choice(
        USES,
        load_default="least",
        explains="What is known before is used only for constants that the tests leave open "
        "(least: sound tests then give least squares), always (full) or never (none: maximum "
        "likelihood, refused where that has no finite answer).",
    )
    tool_material = Choice(
        TOOL_MATERIALS, explains="With material_group: centre the prior on the starter table."
    )
    material_group = Choice(MATERIAL_GROUPS, explains="ISO 513 group, with tool_material.")
    law = Choice(
        LAWS,
        load_default="lognormal",
        explains="How lives scatter: lognormal, as least squares assumes, or weibull, as the "
        "forecast does.",
    )
    reference_feed_mm_rev = Number(
        least=1e-5, most=50, explains="Feed at which C holds; left out: 1 mm/rev."
    )
    reference_feed_in_rev = Number(
        least=4e-7, most=1.968, explains="In place of reference_feed_mm_rev."
    )
    reference_depth_mm = Length(
        least=1e-5, most=200, explains="Depth at which C holds; left out: 1 mm."
    )
    cuts = listed(CutBody, most=1_000, load_default=list, explains="Cuts to foretell.")


class StandardErrors(Shape):
    """Standard errors of the constants; null where one is not estimated."""

    n = Number(required=True, allow_none=True)
    c_m_min = Number(required=True, allow_none=True)
    feed_exponent = Number(required=True, allow_none=True)
    depth_exponent = Number(required=True, allow_none=True)


class Between(Shape):
    """Lowest and highest."""

    lowest = Number(required=True)
    highest = Number(required=True)


class RangeShape(Shape):
    """The cuts that the lives cover; null where none was given."""

    cutting_speed_m_min = fields.Nested(Between, required=True, allow_none=True)
    feed_mm_rev = fields.Nested(Between, required=True, allow_none=True)
    depth_mm = fields.Nested(Between, required=True, allow_none=True)


class ToldShape(Shape):
    """Whether the lives determined an exponent; if not, it is the prior's."""

    n = YesNo(required=True)
    feed_exponent = YesNo(required=True)
    depth_exponent = YesNo(required=True)


class CutAnswer(Shape):
    """The life of new edges at a cut."""

    cutting_speed_m_min = Number(required=True)
    feed_mm_rev = Number(required=True, allow_none=True)
    depth_mm = Number(required=True, allow_none=True)
    life_min = Number(required=True, explains="Half of the edges last so long.")
    life_low_min = Number(required=True, explains="10 % do not reach it.")
    life_high_min = Number(required=True, explains="10 % outlive it.")
    within_range = YesNo(required=True)
    outside = listed(Text(), most=3, required=True, explains="What lies outside the range.")


class ConstantsAnswer(Shape):
    """Constants of ``v T^n (f/f_ref)^a (d/d_ref)^b = C`` with what is uncertain about them."""

    n = Number(required=True)
    c_m_min = Number(required=True)
    c_ft_min = Number(required=True, explains="The same C; it holds at the same references.")
    feed_exponent = Number(required=True, allow_none=True, explains="a; null: no feeds given.")
    depth_exponent = Number(
        required=True, allow_none=True, explains="b; null: no depths given."
    )
    reference_feed_mm_rev = Number(required=True, allow_none=True)
    reference_depth_mm = Number(required=True, allow_none=True)
    standard_errors = fields.Nested(StandardErrors, required=True)
    residual_deviation = Number(
        required=True, explains="Standard deviation of ln life around the curve."
    )
    shape = Number(required=True, allow_none=True, explains="Weibull shape; null: lognormal.")
    explained_share = Number(
        required=True, allow_none=True, explains="Share of the variance of ln life explained."
    )
    ended = Whole(required=True, explains="Tests that ran to the end of the edge.")
    censored = Whole(required=True, explains="Tests cut short.")
    range = fields.Nested(RangeShape, required=True)
    told = fields.Nested(ToldShape, required=True)
    notes = listed(Text(), most=10_000, required=True)
    prior_source = Text(required=True, explains="Where the prior comes from.")
    formula = Text(required=True)
    cuts = listed(CutAnswer, most=1_000, required=True)


class EstimatesQuery(AsOfQuery):
    """Which estimates are asked for."""

    cutting_item = Text(explains="Only this cutting item.")
    limit = Whole(least=1, most=1_000, query=True, load_default=200, explains="Rows per page.")
    after = Whole(query=True, load_default=0, explains="``next`` of the page before.")


class CurveShape(Shape):
    """Constants of ``v T^n (f/f_ref)^a (d/d_ref)^b = C``."""

    n = Number(required=True)
    c_m_min = Number(required=True)
    feed_exponent = Number(required=True)
    depth_exponent = Number(required=True)
    reference_feed_mm_rev = Number(required=True)
    reference_depth_mm = Number(required=True)


class ExponentErrors(Shape):
    """Standard errors of the exponents."""

    n = Number(required=True)
    feed_exponent = Number(required=True)
    depth_exponent = Number(required=True)


class EstimateRow(Shape):
    """One cutting item on one group of material."""

    cutting_item = Text(required=True)
    material_group = Text(required=True)
    basis = Text(required=True, explains="tool_life or starter: where those in force are from.")
    source = Text(required=True)
    in_force = fields.Nested(CurveShape, required=True)
    errors_before = fields.Nested(
        ExponentErrors,
        required=True,
        metadata={"description": "Standard errors before any life was seen."},
    )
    estimate = fields.Nested(
        CurveShape,
        required=True,
        allow_none=True,
        metadata={
            "description": "Exponents from the shop's own edges, with the level of those in "
            "force at the edges' usual cut; null where nothing can be estimated."
        },
    )
    standard_errors = fields.Nested(ExponentErrors, required=True, allow_none=True)
    ended = Whole(required=True, explains="Edges that wear ended.")
    cut_short = Whole(required=True, explains="Edges that came out before, or broke.")
    left_out = Whole(
        required=True,
        explains="Edges that wore on other groups or at widely different speeds too, or whose "
        "wear no curve told.",
    )
    range = fields.Nested(RangeShape, required=True, allow_none=True)
    used = YesNo(required=True, explains="Whether the forecast reckons with the estimate.")
    why = Text(required=True, longest=500)


class EstimatesPage(Shape):
    """Estimates by cutting item and group."""

    as_of = At(required=True)
    items = listed(EstimateRow, most=1_000, required=True)
    next = Whole(required=True, allow_none=True)
