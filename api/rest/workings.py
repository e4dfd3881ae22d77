"""The calculations by themselves: no state, no database."""

from __future__ import annotations

import math
import re
from typing import Any

from flask_smorest import Blueprint

from api.http.length_unit import LENGTH_UNIT
from api.http.operation import Call, computes, reads
from api.rest.cut_units import metric_curve, metric_cut, spindle_limits
from api.schemas import workings as shapes
from crib.codes import check_character
from crib.errors import Invalid, OutsideModel
from crib.life.economics import (
    CutCosts,
    best_speed,
    least_cost_life_min,
    most_output_life_min,
)
from crib.life.own_lives import fit_own_lives
from crib.life.replacement import weibull_swap_point
from crib.life.taylor import LONGEST_LIFE_MIN, SHORTEST_LIFE_MIN, TaylorConstants, life_min
from crib.life.wear import size_growth_mm
from crib.metrology.figures import Figures
from crib.metrology.series import judge_series
from crib.planning.bench_order import OrderJob, order_jobs
from crib.planning.order_quantity import order_quantity, reorder_point
from crib.sentence import figure, sentence

blueprint = Blueprint("workings", __name__, description="The calculations by themselves.")


@computes(blueprint, "/v1/workings/life-fit", shapes.LifeFitAnswer(), body=shapes.LifeFitBody())
def work_out_life_fit(call: Call) -> dict[str, Any]:
    """Fit a law of life to lives, some of them cut short."""
    given = call.body
    found = fit_own_lives(
        [life["age"] for life in given["lives"]],
        [life["ended"] for life in given["lives"]],
        age=given.get("age"),
        ahead=given.get("ahead"),
        promised=given.get("promised_life"),
        spread=given.get("spread"),
    )
    return {
        "failed": found.failed,
        "taken_out": found.taken_out,
        "maximum_likelihood": found.likelihood,
        "why_no_maximum": found.why_none or None,
        "constant_rate": found.constant,
        "posterior": {"shape": found.shape, "scale": found.scale},
        "new_edge": found.new,
        "aged_edge": found.aged,
        "doubted": found.doubted,
    }


@computes(blueprint, "/v1/workings/reorder", shapes.ReorderAnswer(), body=shapes.ReorderBody())
def work_out_reorder(call: Call) -> dict[str, Any]:
    """Work out when to order and how much."""
    given = dict(call.body)
    costs = [given.pop(name, None) for name in ("order_cost", "holding_cost")]
    if (costs[0] is None) != (costs[1] is None):
        name = "order_cost" if costs[0] is None else "holding_cost"
        raise Invalid(
            sentence(
                "How much to order follows from order_cost and holding_cost; {name} is "
                "missing.",
                name=name,
            ),
            errors=[{"field": name, "detail": sentence("is missing")}],
        )
    point = reorder_point(**given)
    order = None
    if costs[0] is not None:
        order = order_quantity(given["mean_per_day"], costs[0], costs[1])
    return {
        "reorder_point": point.reorder_point,
        "safety_stock": point.safety_stock,
        "order_quantity": order and order.quantity,
        "orders_per_day": order and order.orders,
        "cost_per_day": order and order.cost,
    }


@computes(
    blueprint, "/v1/workings/tool-life", shapes.ToolLifeAnswer(), body=shapes.ToolLifeBody()
)
def work_out_tool_life(call: Call) -> dict[str, Any]:
    """Work out the life that Taylor's curve promises."""
    given = metric_cut(call.body, "", "cutting_speed", "feed", "reference_feed")
    cut = [given.pop(name, None) for name in ("cutting_speed_m_min", "feed_mm_rev", "depth_mm")]
    for exponent, value in zip(("feed_exponent", "depth_exponent"), cut[1:], strict=True):
        if given.get(exponent) and value is None:
            name = "feed_mm_rev" if exponent == "feed_exponent" else "depth_mm"
            raise Invalid(
                sentence(
                    "With {exponent} the life depends on {name}: give it, or leave the "
                    "exponent out.",
                    exponent=exponent,
                    name=name,
                ),
                errors=[{"field": name, "detail": sentence("is missing")}],
            )
    field = next(name for name in call.body if name.startswith("cutting_speed"))
    life = float(life_min(cut[0], cut[1], cut[2], metric_curve(given)))
    if not SHORTEST_LIFE_MIN * (1 + 1e-9) < life < LONGEST_LIFE_MIN * (1 - 1e-9):
        bound = (
            f"less than {SHORTEST_LIFE_MIN:g}"
            if life < 1
            else f"more than {LONGEST_LIFE_MIN:g}"
        )
        raise OutsideModel(
            sentence(
                "At {cut} m/min the curve gives {bound} minutes. That far from the "
                "speed for a life of one minute it does not hold.",
                cut=figure(cut[0], "g"),
                bound=bound,
            ),
            errors=[
                {
                    "field": field,
                    "detail": sentence("too far from the speed for a life of one minute"),
                }
            ],
        )
    return {"life_min": life}


@computes(
    blueprint, "/v1/workings/swap-point", shapes.SwapPointAnswer(), body=shapes.SwapPointBody()
)
def work_out_swap_point(call: Call) -> dict[str, Any]:
    """Work out the age at which a planned swap costs least."""
    found = weibull_swap_point(**call.body)
    never = not math.isfinite(found.age)
    return {
        "age": None if never else found.age,
        "cost_rate": found.cost_rate,
        "fails_first_share": found.fails_first_prob,
        "why": sentence("A planned swap never pays: run each edge until it fails.")
        if never
        else sentence(
            "Swapping at {age} costs least per unit of use; {share} of edges fail before.",
            age=figure(found.age, ".4g"),
            share=figure(found.fails_first_prob, ".1%"),
        ),
    }


@computes(
    blueprint,
    "/v1/workings/cutting-economics",
    shapes.EconomicsAnswer(),
    body=shapes.EconomicsBody(),
)
def work_out_economics(call: Call) -> dict[str, Any]:
    """Work out the speeds of least cost and of greatest output that the spindle reaches."""
    given = call.body
    curve = TaylorConstants(given["n"], given["c_m_min"])
    costs = CutCosts(given["change_min"], given["machine_rate_per_min"], given["edge_cost"])
    cut = None
    if "diameter_mm" in given:
        cut = (given["diameter_mm"], given["path_length_mm"], given["feed_mm_rev"])
    handling = given.get("handling_min", 0.0)
    lives = {
        "minimum_cost": least_cost_life_min(curve.n, costs),
        "maximum_output": most_output_life_min(curve.n, costs),
    }
    return {
        name: best_speed(life, curve, costs, cut, spindle_limits(given), handling)
        for name, life in lives.items()
    }


@computes(blueprint, "/v1/workings/preset", shapes.SeriesAnswer(), body=shapes.SeriesBody())
def work_out_preset(call: Call) -> Any:
    """Judge repeats of one length."""
    return judge_series(**call.body, figures=Figures(LENGTH_UNIT.get()))


@computes(
    blueprint,
    "/v1/workings/bench-order",
    shapes.BenchOrderAnswer(),
    body=shapes.BenchOrderBody(),
)
def work_out_bench_order(call: Call) -> Any:
    """Put jobs in order for one bench."""
    return order_jobs([OrderJob(**job) for job in call.body["jobs"]])


@computes(
    blueprint, "/v1/workings/part-size", shapes.PartSizeAnswer(), body=shapes.PartSizeBody()
)
def work_out_part_size(call: Call) -> dict[str, float]:
    """Work out how much a worn flank lets the part grow."""
    given = call.body
    land, clearance = given["wear_land_mm"], given["clearance_deg"]
    grown = size_growth_mm(land, clearance, on_diameter=given["on_diameter"])
    return {"growth_mm": float(grown)}


@reads(
    blueprint,
    "/v1/workings/check-character/<text>",
    shapes.CharacterAnswer(),
    opens=False,
)
def work_out_check_character(_call: Call, text: str) -> dict[str, str]:
    """Work out the check character of a text (ISO/IEC 7064, MOD 37,36)."""
    return check_character_of(text)


def check_character_of(text: str) -> dict[str, str]:
    """A text's check character, and both together.

    Raises:
        Invalid: Nothing, more than 64 characters, or one that is not 0-9 or A-Z.
    """
    body = text.upper()
    if not re.fullmatch(r"[0-9A-Z]{1,64}", body):
        words = "A check character is made of up to 64 characters 0-9 and A-Z."
        raise Invalid(
            words, errors=[{"field": "text", "detail": sentence("is not a valid key")}]
        )
    character = check_character(body)
    return {"character": character, "code": body + character}
