"""Calculations of the measuring room by themselves: studies, drift, budget, datum."""

from __future__ import annotations

from typing import Any

import numpy as np
from flask_smorest import Blueprint

from api.http.length_unit import LENGTH_UNIT
from api.http.operation import Call, computes
from api.schemas import workings_gauge as shapes
from api.schemas.metrology import BudgetShape
from crib.metrology.budget import (
    DEFAULT_REPEATABILITY_MM,
    Budget,
    Contribution,
    work_out_budget,
)
from crib.metrology.datum import follow_datum
from crib.metrology.datum_filter import VERDICTS
from crib.metrology.drift import Drift, study_drift
from crib.metrology.figures import Figures
from crib.metrology.gauge_check import judge_errors, why_no_study
from crib.metrology.gauge_line import compile_pattern, read_line
from crib.metrology.outliers import find_outlier
from crib.metrology.preset import Reading
from crib.metrology.repeatability import StudyResult, study

blueprint = Blueprint(
    "measuring workings", __name__, description="Calculations of the measuring room."
)


@computes(
    blueprint,
    "/v1/workings/gauge-study",
    shapes.GaugeStudyAnswer(),
    body=shapes.GaugeStudyBody(),
)
def work_out_gauge_study(call: Call) -> dict[str, Any]:
    """Judge a gauge by repeats on its master: bias, Cg, Cgk."""
    given = call.body
    readings, master = given["readings_mm"], given["master_mm"]
    figures = Figures(LENGTH_UNIT.get())
    errors = [value - master for value in readings]
    found = judge_errors(errors, given["tolerance_width_mm"], figures)
    why_not = (*why_no_study(len(readings), found.standard_deviation_mm), *found.why_not)
    return {
        "n": found.n,
        "bias_mm": found.bias_mm,
        "standard_deviation_mm": found.standard_deviation_mm,
        "cg": found.cg,
        "cgk": found.cgk,
        "valid": not why_not,
        "why_not": list(why_not),
        "outlier": find_outlier(readings, usual_mm=DEFAULT_REPEATABILITY_MM, figures=figures),
    }


@computes(
    blueprint,
    "/v1/workings/gauge-drift",
    shapes.GaugeDriftAnswer(),
    body=shapes.GaugeDriftBody(),
)
def work_out_gauge_drift(call: Call) -> Drift:
    """Fit the drift of a gauge, and when it has used up its tolerance."""
    checks = call.body["checks"]
    return study_drift(
        [one["day"] for one in checks],
        [one["bias_mm"] for one in checks],
        call.body["limit_mm"],
    )


@computes(
    blueprint,
    "/v1/workings/gauge-repeatability",
    shapes.RepeatabilityAnswer(),
    body=shapes.RepeatabilityBody(),
)
def work_out_repeatability(call: Call) -> StudyResult:
    """Share the spread of a study out to gauge, people and pieces."""
    return study(call.body["values"])


@computes(
    blueprint,
    "/v1/workings/uncertainty-budget",
    BudgetShape(),
    body=shapes.BudgetBody(),
)
def work_out_uncertainty(call: Call) -> Budget:
    """Combine contributions into an expanded uncertainty (JCGM 100)."""
    parts = [Contribution(**one) for one in call.body["contributions"]]
    return work_out_budget(parts, call.body["level"])


@computes(
    blueprint,
    "/v1/workings/station-datum",
    shapes.DatumAnswer(),
    body=shapes.DatumBody(),
)
def work_out_station_datum(call: Call) -> dict[str, Any]:
    """Follow the datum of one axis of a station through its first-offs."""
    given = call.body
    looks = [np.nan if look is None else look for look in given["looks_mm"]]
    track = follow_datum([looks], given["look_sd_mm"], [given["recorded_mm"]])
    return {
        "datum_mm": track.mean[0],
        "expanded_uncertainty_mm": track.reach[0],
        "next_expanded_uncertainty_mm": track.next_reach[0],
        "walk_mm": track.walk_sd[0],
        "scatter_mm": track.scatter_sd[0],
        "held_mm": track.held[0],
        "looks": [
            {
                "expected_mm": track.predicted[0, look],
                "innovation_mm": track.innovation[0, look],
                "sigmas": track.sigmas[0, look],
                "estimate_mm": track.estimate[0, look],
                "estimate_sd_mm": track.estimate_sd[0, look],
                "expanded_uncertainty_mm": track.estimate_reach[0, look],
                "verdict": VERDICTS[track.verdict[0, look]],
            }
            for look in range(len(looks))
        ],
    }


@computes(
    blueprint,
    "/v1/workings/gauge-line",
    shapes.GaugeLineAnswer(),
    body=shapes.GaugeLineBody(),
)
def work_out_gauge_line(call: Call) -> Reading:
    """Read a line that a gauge sent, by the pattern it writes by."""
    text = call.body.get("pattern")
    return read_line(None if text is None else compile_pattern(text), call.body["line"])
