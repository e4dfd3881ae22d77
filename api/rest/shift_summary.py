"""What a supervisor asks first, for programs."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.http.operation import Call, reads
from api.schemas.results import shape_from
from crib.views.shift_summary import ShiftSummary, shift_summary

blueprint = Blueprint("shift summary", __name__, description="The shift in a few answers.")

ShiftSummaryShape = shape_from(ShiftSummary, "ShiftSummaryShape")


@reads(blueprint, "/v1/shift-summary", ShiftSummaryShape())
def read_shift_summary(call: Call) -> ShiftSummary:
    """Say what may run tonight, what is due, which sisters are not ready, who is silent."""
    return shift_summary(call.tx, call.site.plans.plan(call.present))
