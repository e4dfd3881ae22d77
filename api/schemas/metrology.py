"""Shapes of what measuring came to: outliers and budgets."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.fields import Choice, Length, Number, Shape, Text, Whole
from crib.metrology.budget import DISTRIBUTIONS


class OutlierShape(Shape):
    """A reading that does not belong to the others."""

    reading = Whole(required=True, least=1, explains="Its number, the first is 1.")
    value_mm = Length(required=True)
    grubbs = Number(required=True, explains="Its distance from the mean over the deviation.")
    critical = Number(required=True, explains="What chance seldom goes beyond (5 %).")
    sentence = Text(required=True)


class BudgetLineShape(Shape):
    """One contribution worked out."""

    name = Text(required=True)
    distribution = Choice(tuple(DISTRIBUTIONS), required=True)
    standard_uncertainty = Number(required=True, explains="Of the quantity, in its own unit.")
    sensitivity = Number(required=True)
    contribution = Number(required=True, explains="To the result, in the unit of the result.")
    variance_share = Number(required=True, explains="Of the variance of the result.")
    degrees_of_freedom = Number(allow_none=True, explains="null: infinitely many")


class BudgetShape(Shape):
    """An uncertainty budget (JCGM 100), in the unit of the result."""

    lines = fields.List(fields.Nested(BudgetLineShape), required=True)
    combined = Number(required=True, explains="Combined standard uncertainty.")
    effective_degrees_of_freedom = Number(
        allow_none=True, explains="By Welch and Satterthwaite; null: infinitely many."
    )
    coverage_factor = Number(required=True, explains="For the level, by Student's t.")
    level = Number(required=True)
    expanded = Number(required=True, explains="Combined times the coverage factor.")


class LengthLineShape(Shape):
    """One contribution to the uncertainty of a length."""

    name = Text(required=True)
    standard_uncertainty_mm = Length(attribute="standard_uncertainty", required=True)
    variance_share = Number(required=True, explains="Of the variance of the result.")
    degrees_of_freedom = Number(allow_none=True, explains="null: infinitely many")


class LengthBudgetShape(Shape):
    """What the uncertainty of a length is made of (JCGM 100)."""

    lines = fields.List(fields.Nested(LengthLineShape), required=True)
    combined_mm = Length(
        attribute="combined", required=True, explains="Combined standard uncertainty."
    )
    effective_degrees_of_freedom = Number(
        allow_none=True, explains="By Welch and Satterthwaite; null: infinitely many."
    )
    coverage_factor = Number(required=True, explains="For the level, by Student's t.")
    level = Number(required=True)
    expanded_mm = Length(
        attribute="expanded", required=True, explains="Combined times the coverage factor."
    )
