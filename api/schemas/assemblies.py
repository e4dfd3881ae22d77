"""Shapes of building and measuring tools."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.facts import FactAnswer, FactBody, RecipeShape
from api.schemas.fields import (
    At,
    Choice,
    ExactLength,
    Length,
    Lengths,
    Shape,
    Text,
    Whole,
    YesNo,
    listed,
    within,
)
from api.schemas.metrology import LengthBudgetShape, OutlierShape
from crib.metrology.preset import MEASURES
from crib.records.measures import HF, LF, RE, WF


class BuildBody(FactBody):
    """Build a tool: a holder and an edge."""

    tool_spec = Text(required=True)
    holder = Text(required=True, explains="Code or mark of the holder.")
    lot = Text(required=True, explains="Code or mark of the lot that the edge comes from.")
    edge = Whole(least=1, most=64, explains="Edge wanted; left out: the next free one.")


class BuiltShape(FactAnswer):
    """A tool that was built."""

    code = Text(required=True, explains="Code for its label.")
    edge = Whole(required=True)
    edges = Whole(required=True)
    cutter_status = Text(required=True)
    recipe = fields.Nested(RecipeShape, required=True)
    cautions = listed(Text(), most=100, required=True)


class ReadingBody(Shape):
    """One look through the gauge."""

    lf_mm = ExactLength(
        **within(LF, attribute="lf_tenths_um", explains="Functional length (ISO 13399).")
    )
    wf_mm = ExactLength(
        **within(WF, attribute="wf_tenths_um", explains="Functional width (ISO 13399).")
    )
    hf_mm = ExactLength(
        **within(HF, attribute="hf_tenths_um", explains="Functional height (ISO 13399).")
    )
    re_mm = ExactLength(
        **within(RE, attribute="re_tenths_um", explains="Corner radius (ISO 13399).")
    )


class OverrideBody(Shape):
    """A supervisor lets a preset count although its gauge was not checked."""

    by = Text(required=True, explains="Badge or code of the supervisor.")
    reason = Text(required=True, explains="Why; it stands on the label.")


class PresetBody(FactBody):
    """Measure a tool off the machine."""

    gauge = Text(explains="Code or mark of the gauge; wanted where the shop has any.")
    override = fields.Nested(
        OverrideBody,
        metadata={"description": "For a gauge without a valid check; measures still count."},
    )
    readings = listed(ReadingBody, most=1_000, least=1, required=True)


class MeansShape(Shape):
    """Mean of each measure, exact."""

    lf_mm = ExactLength(attribute="LF")
    wf_mm = ExactLength(attribute="WF")
    hf_mm = ExactLength(attribute="HF")
    re_mm = ExactLength(attribute="RE")


class SpreadShape(Shape):
    """A spread of each measure, a number."""

    lf_mm = Length(attribute="LF", allow_none=True)
    wf_mm = Length(attribute="WF", allow_none=True)
    hf_mm = Length(attribute="HF", allow_none=True)
    re_mm = Length(attribute="RE", allow_none=True)


class MeasureOutlier(Shape):
    """A reading that does not belong to the others; nothing is left out for it."""

    measure = Choice(MEASURES, required=True)
    outlier = fields.Nested(OutlierShape, required=True)


class MeasureBudget(Shape):
    """What the uncertainty of one measure is made of."""

    measure = Choice(MEASURES, required=True)
    budget = fields.Nested(LengthBudgetShape, required=True)


class GaugeOverriddenShape(Shape):
    """What a supervisor overrode."""

    by = Text(required=True, explains="Name of the supervisor.")
    reason = Text(required=True)
    problems = listed(Text(), most=100, required=True, explains="What spoke against the gauge.")
    sentence = Text(required=True)


class PresetShape(FactAnswer):
    """What a preset came to."""

    assembly = Text(required=True, explains="The tool's code from now on.")
    superseded_code = Text(
        allow_none=True, explains="Code of the label that is void now: take it off."
    )
    cutter_status = Text(required=True)
    readings = Whole(required=True, explains="How many.")
    mean_mm = Lengths(MeansShape, required=True)
    standard_deviation_mm = Lengths(SpreadShape, required=True)
    type_a_mm = Lengths(SpreadShape, required=True)
    expanded_uncertainty_mm = Lengths(
        SpreadShape,
        required=True,
        metadata={
            "description": "Covers 95.45 %: k is 2 for many repeats, more for few; see budgets."
        },
    )
    outliers = fields.List(fields.Nested(MeasureOutlier), required=True)
    budgets = fields.List(fields.Nested(MeasureBudget), required=True)
    accepted = YesNo(required=True)
    why_not = listed(Text(), most=100, required=True)
    cautions = listed(
        Text(),
        most=100,
        required=True,
        explains="Stations that need a measure which was not taken, where others do without.",
    )
    void_after = At(required=True)
    gauge = Text(allow_none=True)
    overridden = fields.Nested(GaugeOverriddenShape, allow_none=True, required=True)
