"""Pages about tool life: its curve, fits to lives, swap point, economic speeds, size."""

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
    lives,
    percent_text,
)
from api.rest import workings as calls
from api.rest.workings_constants import work_out_tool_life_constants
from api.schemas import workings as shapes
from api.schemas.tool_life import ConstantsAnswer, ConstantsBody
from crib.errors import Invalid
from crib.life.constants import estimate_constants
from crib.life.fit import fit_weibull
from crib.life.one_key import fit_one_key
from crib.life.own_lives import fit_own_lives
from crib.life.taylor import life_min
from crib.sentence import sentence


def _life_figures(body: Body, answer: Body) -> Figures:
    found: dict[str, Figure] = {
        "v": body["cutting_speed_m_min"],
        "n": body["n"],
        "C": body["c_m_min"],
        "T": answer["life_min"],
    }
    cases = []
    for letter, exponent, name in (("f", "a", "feed"), ("d", "b", "depth")):
        given = body.get("feed_mm_rev" if name == "feed" else "depth_mm")
        power = body.get(f"{name}_exponent", 0.0)
        if given is None or power == 0:
            continue
        unit = "feed_mm_rev" if name == "feed" else "depth_mm"
        found |= {
            letter: given,
            exponent: power,
            f"{letter}_ref": body.get(f"reference_{unit}", 1.0),
        }
        cases.append(name)
    return Figures(found, frozenset({" and ".join(cases) or "speed"}))


_work_out_life: Final = by_call(
    calls.work_out_tool_life, shapes.ToolLifeBody(), shapes.ToolLifeAnswer()
)

#: Speeds beside the one typed: what a slower or faster cut would bring.
_OTHER_SPEEDS: Final = (0.8, 0.9, 1.0, 1.1, 1.2)


def _other_speeds(body: Body, answer: Body) -> list[Table]:
    rows = []
    for share in _OTHER_SPEEDS:
        speed = share * body["cutting_speed_m_min"]
        told = percent_text(share - 1, "+.0f") if share != 1 else sentence("as typed")
        try:
            life = _work_out_life(body | {"cutting_speed_m_min": speed})["life_min"]
        except Invalid:  # the curve says nothing so far out
            continue
        times = life / answer["life_min"]
        rows.append((told, f"{speed:.5g}", f"{life:.4g}", f"{times:.3g}"))
    heads = (
        sentence("Speed"),
        "in m/min",
        sentence("Life in min"),
        sentence("Times as long"),
    )
    return [Table(sentence("And slower, or faster"), heads, rows)]


_CURVE_ENTRIES: Final = (
    Entry("n", sentence("Exponent of life"), "0.25", "", "n"),
    Entry("c_m_min", sentence("Speed for a life of one minute"), "180", "m/min", "C"),
)

TOOL_LIFE: Final = Working(
    slug="tool-life",
    title=sentence("Tool life at a cut"),
    says=sentence(
        "Minutes in cut by the speed-life curve. Handbook constants are only a "
        "starting point, with a spread of about 40 %."
    ),
    entries=(
        Entry("cutting_speed_m_min", sentence("Cutting speed"), "150", "m/min", "v"),
        *_CURVE_ENTRIES,
        Entry("feed_mm_rev", sentence("Feed"), "0.05", "mm/rev", "f"),
        Entry("feed_exponent", sentence("Exponent of the feed"), "0.35", "", "a"),
        Entry(
            "reference_feed_mm_rev", sentence("Feed at which C holds"), "", "mm/rev", "f_ref"
        ),
        Entry("depth_mm", sentence("Depth of cut"), "0.8", "mm", "d"),
        Entry("depth_exponent", sentence("Exponent of the depth"), "0.15", "", "b"),
        Entry("reference_depth_mm", sentence("Depth at which C holds"), "", "mm", "d_ref"),
    ),
    work=_work_out_life,
    figures=_life_figures,
    lines=(
        Line("T = (C / v) ** (1 / n)", "min", "speed"),
        Line("T = (C / (v * (f / f_ref) ** a)) ** (1 / n)", "min", "feed"),
        Line("T = (C / (v * (d / d_ref) ** b)) ** (1 / n)", "min", "depth"),
        Line(
            "T = (C / (v * (f / f_ref) ** a * (d / d_ref) ** b)) ** (1 / n)",
            "min",
            "feed and depth",
        ),
    ),
    results=(Result("life_min", sentence("Expected life"), "min"),),
    source=sentence(
        "Taylor, On the Art of Cutting Metals, 1907; the life ends by a criterion of "
        "ISO 3685 (from memory)."
    ),
    functions=(life_min,),
    call="POST /v1/workings/tool-life",
    tables=_other_speeds,
)


def _tests(text: str) -> list[dict[str, Any]]:
    """Typed tests: speed and life, a plus behind a life that was cut short."""
    found = []
    for place, line in enumerate(filter(str.strip, text.splitlines()), start=1):
        told = lives(line)
        if len(told) != 2:
            raise Invalid(sentence("line {place} has to hold a speed and a life", place=place))
        speed, life = told
        found.append(
            {
                "cutting_speed_m_min": speed["age"],
                "life_min": life["age"],
                "censored": not life["ended"],
            }
        )
    return found


def _constants_figures(body: Body, answer: Body) -> Figures:
    n, c = answer["n"], answer["c_m_min"]
    speeds = [test["cutting_speed_m_min"] for test in body["tests"]]
    return Figures({"n": n, "C": c, "v": speeds, "T": [(c / v) ** (1 / n) for v in speeds]})


def _constants_notes(_body: Body, answer: Body) -> list[Table]:
    told = answer["standard_errors"]
    errors = [
        (name, sentence("not estimated") if told[key] is None else f"{told[key]:.3g}")
        for name, key in (("n", "n"), (sentence("C in m/min"), "c_m_min"))
    ]
    tables = [Table(sentence("How sure"), (sentence("Of"), sentence("Standard error")), errors)]
    if answer["notes"]:
        tables.append(
            Table(sentence("Notes"), (sentence("Note"),), [(note,) for note in answer["notes"]])
        )
    return tables


CONSTANTS: Final = Working(
    slug="tool-life-constants",
    title=sentence("Tool-life constants from tests"),
    says=sentence(
        "n and C from your own lives at several speeds. The API call also "
        "takes feeds and depths."
    ),
    entries=(
        Entry(
            "tests",
            sentence(
                "Speed in m/min and life in min, one test a line; a plus behind a life "
                "that was cut short"
            ),
            "160 5\n130 12\n100 41",
            read=_tests,
            lines=6,
        ),
    ),
    work=by_call(work_out_tool_life_constants, ConstantsBody(), ConstantsAnswer()),
    figures=_constants_figures,
    lines=(Line("T = (C / v) ** (1 / n)", "min"),),
    results=(
        Result("n", sentence("Exponent of life, n")),
        Result("c_m_min", sentence("Speed for a life of one minute, C"), "m/min"),
        Result("residual_deviation", sentence("Scatter of ln life about the curve")),
        Result("prior_source", sentence("Used where the tests leave something open")),
    ),
    source=sentence(
        "Taylor 1907, as a regression of lives of which some were cut short. "
        "Lawless, Statistical Models and Methods for Lifetime Data (from "
        "memory)."
    ),
    functions=(estimate_constants,),
    call="POST /v1/workings/tool-life-constants",
    tables=_constants_notes,
)


def _fit_figures(body: Body, answer: Body) -> Figures:
    ages = [life["age"] for life in body["lives"]]
    likely = answer["maximum_likelihood"]
    if likely is None:
        return Figures({}, frozenset())
    ended = [life["age"] for life in body["lives"] if life["ended"]]
    k, theta = likely["shape"], likely["scale"]
    figures: dict[str, Figure] = {
        "x": ages,
        "y": ended,
        "m": len(ages),
        "r": len(ended),
        "k": k,
        "theta": theta,
        "x_50": theta * math.log(2) ** (1 / k),
    }
    return Figures(figures, frozenset({"likely"}))


def _chances(_body: Body, answer: Body) -> list[Table]:
    found: list[Table] = []
    for caption, edge in (
        (sentence("A new edge reaches"), answer["new_edge"]),
        (sentence("An edge of that age lasts another"), answer["aged_edge"]),
    ):
        if edge is not None:
            chances = [
                (f"{one['ahead']:.5g}", percent_text(one["survival"], ".1f"))
                for one in edge["survival"]
            ]
            found.append(Table(caption, (sentence("Further use"), sentence("Chance")), chances))
    if answer["doubted"]:
        doubted = [(one,) for one in answer["doubted"]]
        found.append(
            Table(sentence("Left out until somebody checks"), (sentence("Life"),), doubted)
        )
    return found


LIFE_FIT: Final = Working(
    slug="life-fit",
    title=sentence("Law of life from lives"),
    says=sentence(
        "What these lives alone say: the maximum-likelihood fit, and the "
        "posterior that the forecast uses. Any unit of use, the same for all."
    ),
    entries=(
        Entry(
            "lives",
            sentence(
                "Ages reached, with spaces between; a plus behind an age at which an "
                "edge was taken out early"
            ),
            "54 187 216 240 244 335 361 373 375 386 500+ 500+ 500+ 500+ 500+",
            read=lives,
            lines=4,
        ),
        Entry("age", sentence("Age of an edge to look ahead from"), "300"),
        Entry("promised_life", sentence("Expected life, from constants or experience"), ""),
    ),
    work=by_call(calls.work_out_life_fit, shapes.LifeFitBody(), shapes.LifeFitAnswer()),
    figures=_fit_figures,
    lines=(
        Line(
            "total(x ** k * ln(x), m) / total(x ** k, m) - 1 / k = total(ln(y), r) / r",
            when="likely",
        ),
        Line("theta = (total(x ** k, m) / r) ** (1 / k)", when="likely"),
        Line("x_50 = theta * ln(2) ** (1 / k)", when="likely"),
    ),
    results=(
        Result("maximum_likelihood.shape", sentence("Shape k, maximum likelihood")),
        Result("maximum_likelihood.scale", sentence("Scale θ, maximum likelihood")),
        Result("why_no_maximum", sentence("Why there is no maximum")),
        Result("posterior.shape", sentence("Shape, posterior")),
        Result("posterior.scale", sentence("Scale, posterior")),
        Result("new_edge.p05", sentence("One new edge in twenty fails by")),
        Result("new_edge.p50", sentence("Half of new edges fail by")),
        Result("new_edge.p90", sentence("Nine new edges in ten fail by")),
        Result("aged_edge.p50", sentence("An edge of that age lasts another, median")),
    ),
    source=sentence(
        "Weibull's law under right censoring: Lawless, Statistical Models and Methods "
        "for Lifetime Data (from memory); x are all ages, y those that ended. The "
        "posterior weighs shapes by prior and likelihood (see the code)."
    ),
    functions=(fit_weibull, fit_own_lives, fit_one_key),
    call="POST /v1/workings/life-fit",
    tables=_chances,
)
