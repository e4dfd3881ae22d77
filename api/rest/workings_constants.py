"""Constants of the speed-life curve from lives: as a calculation, and the shop's own."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, computes, reads
from api.http.paging import page_link
from api.rest.cut_units import metric_cut
from api.rest.plan import plan_of
from api.schemas import tool_life as shapes
from crib.errors import Invalid, NotKnown
from crib.life.constants import estimate_constants
from crib.life.constants_estimate import ConstantsEstimate
from crib.life.constants_prior import ConstantsPrior, prior_around, prior_of_any_tool
from crib.life.constants_tests import LifeTests, life_tests
from crib.life.starter import starter_constants
from crib.life.taylor import TaylorConstants
from crib.life.taylor_forms import ft_min_from_m_min
from crib.life.taylor_range import CurveRange
from crib.outlook.own_constants import ItemEstimate
from crib.sentence import sentence, word

blueprint = Blueprint(
    "tool life", __name__, description="Constants of the speed-life curve, from lives."
)

ANY_TOOL = sentence(
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

    Lives that were cut short count as longer. What the tests leave open is taken
    from the prior and named in ``notes``; a cut outside the range of the tests is answered
    with what lies outside.
    """
    given = metric_cut(call.body, "", "reference_feed")
    rows = [
        metric_cut(row, f"tests.{place}.", "cutting_speed", "feed")
        for place, row in enumerate(given["tests"])
    ]
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
        "prior_source": word("none") if given["prior"] == "none" else source,
        "cuts": [
            _cut(found, metric_cut(cut, f"cuts.{place}.", "cutting_speed", "feed"))
            for place, cut in enumerate(given["cuts"])
        ],
    }


def _prior(given: dict[str, Any], tests: LifeTests) -> tuple[ConstantsPrior, str]:
    tool, group = given.get("tool_material"), given.get("material_group")
    if tool is None and group is None:
        return prior_of_any_tool(), ANY_TOOL
    if tool is None or group is None:
        missing = "tool_material" if tool is None else "material_group"
        raise Invalid(
            sentence(
                "The starter table goes by tool material and material group: give both "
                "or neither."
            ),
            errors=[{"field": missing, "detail": sentence("is missing; give both")}],
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
        "c_ft_min": float(ft_min_from_m_min(curve.c_m_min)),
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
        if held is None:
            return None
        # cuts are averaged in logarithms: 90 m/min must not come back as 89.99999999999983
        lowest, highest = (float(f"{value:.9g}") for value in held)
        return {"lowest": lowest, "highest": highest}

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


@reads(
    blueprint,
    "/v1/tool-life-estimates",
    shapes.EstimatesPage(),
    query=shapes.EstimatesQuery(),
    opens=False,
)
def list_estimates(call: Call) -> Reply:
    """List what the shop's own edges say of each item's constants, and whether it is used.

    Only exponents are estimated here: how long edges last at their usual cut is learned by
    the life model, key by key.
    """
    plan = plan_of(call)
    items = plan.shop.rows.items
    asked = call.query.get("cutting_item")
    if asked is not None and all(item.cutting_item != asked for item in items.values()):
        raise NotKnown(
            sentence("There is no cutting item '{asked}' here.", asked=asked[:60]),
            errors=[
                {"field": "cutting_item", "parameter": "cutting_item", "detail": "unknown"}
            ],
        )
    rows = [
        (items[one.cutting_item_id].cutting_item, one)
        for one in plan.shop.estimates
        if asked in (None, items[one.cutting_item_id].cutting_item)
    ]
    first, limit = call.query["after"], call.query["limit"]
    following = first + limit if first + limit < len(rows) else None
    return Reply(
        {
            "as_of": plan.shop.now,
            "next": following,
            "items": [_estimate(name, one) for name, one in rows[first : first + limit]],
        },
        headers=page_link(call, following),
    )


def _estimate(cutting_item: str, one: ItemEstimate) -> dict[str, Any]:
    found = one.estimate
    return {
        "cutting_item": cutting_item,
        "material_group": one.material_group,
        "basis": one.in_force.basis,
        "source": one.in_force.source,
        "in_force": _curve(one.in_force.constants),
        "errors_before": found.before,
        "estimate": None if found.constants is None else _curve(found.constants),
        "standard_errors": found.standard_errors or None,
        "ended": found.ended,
        "cut_short": found.cut_short,
        "left_out": one.mixed,
        "range": None if found.holds is None else range_shape(found.holds),
        "used": found.used,
        "why": found.why,
    }


def _curve(constants: TaylorConstants) -> dict[str, float]:
    return {
        "n": constants.n,
        "c_m_min": constants.c_m_min,
        "feed_exponent": constants.feed_exponent,
        "depth_exponent": constants.depth_exponent,
        "reference_feed_mm_rev": constants.reference_feed_mm_rev or 1.0,
        "reference_depth_mm": constants.reference_depth_mm or 1.0,
    }
