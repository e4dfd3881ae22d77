"""Constants of the speed-life curve from lives: as a calculation, and the shop's own."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, computes
from api.schemas import tool_life as shapes
from crib.errors import Invalid
from crib.life.constants import estimate_constants
from crib.life.constants_estimate import ConstantsEstimate
from crib.life.constants_prior import ConstantsPrior, prior_around, prior_of_any_tool
from crib.life.constants_tests import LifeTests, life_tests
from crib.life.starter import starter_constants
from crib.life.taylor_range import CurveRange

blueprint = Blueprint(
    "tool life", __name__, description="Constants of the speed-life curve, from lives."
)

ANY_TOOL = (
    "any tool: 1/n 4 ± 2, a/n 1.2 ± 1.2, b/n 0.5 ± 0.8 (from memory: tables of n from 0.125 to "
    "0.6); life about 20 min, Weibull shape about 3 (common practice, no source)"
)
FORMULA = (
    "ln T = ln(C/v)/n - (a/n) ln(f/f_ref) - (b/n) ln(d/d_ref) + scatter; Taylor 1907, as a "
    "regression of lives of which some were cut short"
)


@computes(
    blueprint,
    "/v1/workings/tool-life-constants",
    shapes.ConstantsAnswer(),
    body=shapes.ConstantsBody(),
)
def work_out_tool_life_constants(call: Call) -> dict[str, Any]:
    """Estimate n, C and the exponents of feed and depth from lives.

    Lives that were cut short count as longer than told. What the tests cannot tell is taken
    from the prior and named in ``notes``; a cut outside the range of the tests is answered
    with what lies outside.
    """
    given = call.body
    rows = given["tests"]
    tests = life_tests(
        [row["cutting_speed_m_min"] for row in rows],
        [row["life_min"] for row in rows],
        [not row["censored"] for row in rows],
        [row.get("feed_mm_rev") for row in rows],
        [row.get("depth_mm") for row in rows],
    )
    prior, source = _prior(given, tests)
    found = estimate_constants(
        tests,
        prior,
        use=given["prior"],
        law=given["law"],
        reference_feed_mm_rev=given.get("reference_feed_mm_rev"),
        reference_depth_mm=given.get("reference_depth_mm"),
    )
    return _answer(found, tests) | {
        "prior_source": "none" if given["prior"] == "none" else source,
        "cuts": [_cut(found, cut) for cut in given["cuts"]],
    }


def _prior(given: dict[str, Any], tests: LifeTests) -> tuple[ConstantsPrior, str]:
    tool, group = given.get("tool_material"), given.get("material_group")
    if tool is None and group is None:
        return prior_of_any_tool(), ANY_TOOL
    if tool is None or group is None:
        missing = "tool_material" if tool is None else "material_group"
        raise Invalid(
            "The starter table goes by tool material and material group: give both or neither.",
            errors=[{"field": missing, "detail": "is missing beside the other"}],
        )
    row = starter_constants(tool, group)
    return prior_around(
        row.constants, tests.mean_cut(), name=f"{tool} on {group}", level_sd=0.8
    ), row.source


def _answer(found: ConstantsEstimate, tests: LifeTests) -> dict[str, Any]:
    curve = found.constants
    feeds, depths = tests.feed_mm_rev is not None, tests.depth_mm is not None
    return {
        "n": curve.n,
        "c_m_min": curve.c_m_min,
        "feed_exponent": curve.feed_exponent if feeds else None,
        "depth_exponent": curve.depth_exponent if depths else None,
        "reference_feed_mm_rev": (curve.reference_feed_mm_rev or 1.0) if feeds else None,
        "reference_depth_mm": (curve.reference_depth_mm or 1.0) if depths else None,
        "standard_errors": {
            "n": found.n_se,
            "c_m_min": found.c_se_m_min,
            "feed_exponent": found.feed_exponent_se,
            "depth_exponent": found.depth_exponent_se,
        },
        "residual_deviation": found.residual_deviation,
        "shape": found.shape,
        "explained_share": found.explained_share,
        "ended": int(tests.ended.sum()),
        "censored": int((~tests.ended).sum()),
        "range": range_shape(found.holds),
        "told": {
            "n": found.told["speed"],
            "feed_exponent": found.told["feed"],
            "depth_exponent": found.told["depth"],
        },
        "notes": list(found.notes),
        "formula": FORMULA,
    }


def range_shape(holds: CurveRange) -> dict[str, Any]:
    """The range of a curve as its shape wants it."""

    def ends(held: tuple[float, float] | None) -> dict[str, float] | None:
        return None if held is None else {"lowest": held[0], "highest": held[1]}

    return {
        "cutting_speed_m_min": ends(holds.cutting_speed_m_min),
        "feed_mm_rev": ends(holds.feed_mm_rev),
        "depth_mm": ends(holds.depth_mm),
    }


def _cut(found: ConstantsEstimate, cut: dict[str, float]) -> dict[str, Any]:
    feed, depth = cut.get("feed_mm_rev"), cut.get("depth_mm")
    at = found.life_at(cut["cutting_speed_m_min"], feed, depth)
    return {
        "cutting_speed_m_min": cut["cutting_speed_m_min"],
        "feed_mm_rev": feed,
        "depth_mm": depth,
        "life_min": at.life_min,
        "life_low_min": at.life_low_min,
        "life_high_min": at.life_high_min,
        "within_range": not at.outside,
        "outside": list(at.outside),
    }
