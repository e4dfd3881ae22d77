"""Pages about gauges: study on the master, drift, uncertainty budget."""

from __future__ import annotations

import math
from typing import Any, Final

from api.pages.numbers.calls import by_call
from api.pages.numbers.mathml import Figure
from api.pages.numbers.shown import (
    Body,
    Entry,
    Figures,
    Line,
    Result,
    Table,
    Working,
    number,
    numbers,
    percent_text,
    typed_lines,
)
from api.rest import workings_gauge as calls
from api.schemas import workings_gauge as shapes
from api.schemas.metrology import BudgetShape
from crib.errors import Invalid
from crib.metrology.budget import DISTRIBUTIONS, work_out_budget
from crib.metrology.drift import study_drift
from crib.metrology.gauge_check import indices, judge_errors
from crib.sentence import sentence, together


def _study_figures(body: Body, answer: Body) -> Figures:
    readings = body["readings_mm"]
    figures: dict[str, Figure] = {
        "x": readings,
        "m": len(readings),
        "x_r": body["master_mm"],
        "x_m": math.fsum(readings) / len(readings),
        "T": body["tolerance_width_mm"],
        "b": answer["bias_mm"],
    }
    if answer["cg"] is not None:
        figures |= {
            "s": answer["standard_deviation_mm"],
            "C_g": answer["cg"],
            "C_gk": answer["cgk"],
        }
    return Figures(figures)


def _why_not(_body: Body, answer: Body) -> list[Table]:
    if not answer["why_not"]:
        return []
    return [
        Table(sentence("Why not"), (sentence("Reason"),), [(one,) for one in answer["why_not"]])
    ]


GAUGE_STUDY: Final = Working(
    slug="gauge-study",
    title=sentence("Gauge on its master"),
    says=sentence(
        "Whether a gauge is good enough for the tolerance that it serves: its spread "
        "and how far it reads off the master."
    ),
    entries=(
        Entry(
            "readings_mm",
            sentence("Readings of the master in mm, with spaces between"),
            "25.0010 25.0012 25.0009 25.0011 25.0010 25.0013 25.0011 25.0010 25.0012 25.0011",
            symbol="x",
            read=numbers,
            lines=3,
        ),
        Entry("master_mm", sentence("Length of the master"), "25.0005", "mm", "x_r"),
        Entry("tolerance_width_mm", sentence("Full width of the tolerance"), "0.02", "mm", "T"),
    ),
    work=by_call(
        calls.work_out_gauge_study, shapes.GaugeStudyBody(), shapes.GaugeStudyAnswer()
    ),
    figures=_study_figures,
    lines=(
        Line("b = total(x, m) / m - x_r", "mm"),
        Line("s = sqrt(total((x - x_m) ** 2, m) / (m - 1))", "mm"),
        Line("C_g = 0.2 * T / (6 * s)"),
        Line("C_gk = (0.1 * T - abs(b)) / (3 * s)"),
    ),
    results=(
        Result("bias_mm", sentence("Off the master by"), "mm"),
        Result("standard_deviation_mm", sentence("Standard deviation"), "mm"),
        Result("cg", sentence("Index of spread, Cg")),
        Result("cgk", sentence("Index of spread and bias, Cgk")),
        Result("valid", sentence("Good enough")),
    ),
    source=sentence(
        "Type 1 study, definition as common in the automotive trade (from memory; some "
        "plants divide by 4 s and 2 s). x_m is the mean of the readings."
    ),
    functions=(judge_errors, indices),
    call="POST /v1/workings/gauge-study",
    tables=_why_not,
)


def _checks(text: str) -> list[dict[str, float]]:
    return [
        {"day": day, "bias_mm": bias}
        for day, bias in typed_lines(
            text, sentence("a day and how far it read off"), number, number
        )
    ]


def _drift_figures(body: Body, answer: Body) -> Figures:
    days = [one["day"] for one in body["checks"]]
    off = [one["bias_mm"] for one in body["checks"]]
    figures = {
        "t": days,
        "y": off,
        "m": len(days),
        "t_m": math.fsum(days) / len(days),
        "y_m": math.fsum(off) / len(off),
        "a": answer["slope_mm_per_day"],
        "b": answer["bias_mm"],
        "t_e": max(days),
    }
    return Figures(figures)


GAUGE_DRIFT: Final = Working(
    slug="gauge-drift",
    title=sentence("Drift of a gauge"),
    says=sentence(
        "A straight line through the checks, and when it reaches the limit of the gauge."
    ),
    entries=(
        Entry(
            "checks",
            sentence("One check a line: day, how far off in mm"),
            "0 0.0002\n7 0.0003\n14 0.0005\n21 0.0006\n28 0.0008",
            read=_checks,
            lines=6,
        ),
        Entry("limit_mm", sentence("Allowed deviation"), "0.002", "mm"),
    ),
    work=by_call(
        calls.work_out_gauge_drift, shapes.GaugeDriftBody(), shapes.GaugeDriftAnswer()
    ),
    figures=_drift_figures,
    lines=(
        Line(
            "a = total((t - t_m) * (y - y_m), m) / total((t - t_m) ** 2, m)",
            "mm per day",
        ),
        Line("b = y_m + a * (t_e - t_m)", "mm"),
    ),
    results=(
        Result("slope_mm_per_day", sentence("Drift"), sentence("mm per day")),
        Result("slope_se_mm_per_day", sentence("Its standard error"), sentence("mm per day")),
        Result("drifts", sentence("More than chance")),
        Result("bias_mm", sentence("On the line at the last check"), "mm"),
        Result("used_up_in_days", sentence("Limit reached in"), "days"),
        Result("used_up_earliest_in_days", sentence("At the earliest in"), "days"),
    ),
    source=sentence(
        "Line of least squares with Student's t: JCGM 100:2008, H.3 (from memory). t_m "
        "and y_m are means, t_e the last day, b how far off the gauge is there."
    ),
    functions=(study_drift,),
    call="POST /v1/workings/gauge-drift",
)


def _contributions(text: str) -> list[dict[str, Any]]:
    found = []
    for place, line in enumerate(filter(str.strip, text.splitlines()), start=1):
        parts = line.split()
        if len(parts) < 3:
            raise Invalid(
                sentence(
                    "line {place} must have a name, a figure and its distribution", place=place
                )
            )
        *name, value, law = parts
        try:
            figure = number(value)
        except Invalid as refusal:
            raise Invalid(
                sentence(
                    "line {place}: '{value}' {sentence}",
                    place=place,
                    value=value[:20],
                    sentence=refusal.sentence,
                )
            ) from refusal
        if law not in DISTRIBUTIONS:
            raise Invalid(
                sentence(
                    "line {place}: '{law}' is not {distributions}",
                    place=place,
                    law=law[:20],
                    distributions=together(", ", DISTRIBUTIONS),
                )
            )
        found.append({"name": " ".join(name), "value": figure, "distribution": law})
    return found


def _budget_figures(_body: Body, answer: Body) -> Figures:
    parts = [line["contribution"] for line in answer["lines"]]
    return Figures(
        {
            "u": parts,
            "m": len(parts),
            "u_c": answer["combined"],
            "k": answer["coverage_factor"],
            "U": answer["expanded"],
        }
    )


def _shares(_body: Body, answer: Body) -> list[Table]:
    rows = [
        (
            line["name"],
            f"{line['contribution']:.4g}",
            percent_text(line["variance_share"], ".0f"),
        )
        for line in answer["lines"]
    ]
    return [
        Table(
            sentence("Who contributes"),
            (sentence("What"), sentence("Contribution"), sentence("Share of variance")),
            rows,
        )
    ]


BUDGET: Final = Working(
    slug="uncertainty-budget",
    title=sentence("Uncertainty from its parts"),
    says=sentence(
        "Independent contributions add up as squares. The largest is the one to work on."
    ),
    entries=(
        Entry(
            "contributions",
            sentence(
                "One a line: name, figure, distribution ({distributions})",
                distributions=together(", ", DISTRIBUTIONS),
            ),
            "repeats 0.0006 normal\nmaster 0.0008 expanded_k2\ntemperature 0.001 rectangular",
            read=_contributions,
            lines=5,
        ),
        Entry("level", sentence("Coverage probability"), "0.95"),
    ),
    work=by_call(calls.work_out_uncertainty, shapes.BudgetBody(), BudgetShape()),
    figures=_budget_figures,
    lines=(Line("u_c = sqrt(total(u ** 2, m))"), Line("U = k * u_c")),
    results=(
        Result("combined", sentence("Combined standard uncertainty")),
        Result("coverage_factor", sentence("Coverage factor")),
        Result("expanded", sentence("Expanded uncertainty")),
    ),
    source=sentence(
        "JCGM 100:2008, 5.1.2, G.3 and G.4 (from memory). u are the contributions as "
        "standard uncertainties."
    ),
    functions=(work_out_budget,),
    call="POST /v1/workings/uncertainty-budget",
    tables=_shares,
)
