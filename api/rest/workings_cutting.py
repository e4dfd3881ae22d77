"""Calculations about the cut by themselves: time, wear, roughness, bars, thread passes."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, computes
from api.rest.cut_units import spindle_limits
from api.schemas import workings_cutting as shapes
from crib.cutting.engagement import engage
from crib.cutting.finish import ideal_mean_um, parabola_peak_um
from crib.cutting.kinematics import parts_per_bar, regrips
from crib.cutting.operations import CutOperation
from crib.cutting.passes import thread_depths_mm, thread_passes

blueprint = Blueprint("cutting", __name__, description="Calculations about the cut.")

_COLUMNS = frozenset(column.name for column in fields(CutOperation))


@computes(
    blueprint,
    "/v1/workings/engaged-time",
    shapes.EngagedTimeAnswer(),
    body=shapes.EngagedTimeBody(),
)
def work_out_engaged_time(call: Call) -> Any:
    """Work out the minutes in cut of one operation, and what they wear."""
    given = {name: value for name, value in call.body.items() if name in _COLUMNS}
    n = call.body.get("n", 0.25)
    return engage(CutOperation(**given), spindle_limits(call.body), n)


@computes(
    blueprint,
    "/v1/workings/roughness",
    shapes.RoughnessAnswer(),
    body=shapes.RoughnessBody(),
)
def work_out_roughness(call: Call) -> dict[str, float]:
    """Work out how rough a round corner leaves a turned surface."""
    corner = (call.body["feed_mm_rev"], call.body["corner_radius_mm"])
    return {"peak_um": parabola_peak_um(*corner), "mean_um": ideal_mean_um(*corner)}


@computes(
    blueprint,
    "/v1/workings/thread-passes",
    shapes.ThreadPassesAnswer(),
    body=shapes.ThreadPassesBody(),
)
def work_out_thread_passes(call: Call) -> dict[str, Any]:
    """Work out the passes of a thread at constant chip area."""
    given = call.body
    cutting = thread_passes(given["depth_mm"], given["first_depth_mm"])
    depths = thread_depths_mm(given["depth_mm"], cutting, given["first_depth_mm"])
    return {
        "cutting_passes": cutting,
        "passes": cutting + given.get("spring_passes", 0),
        "depths_mm": list(depths),
    }


@computes(blueprint, "/v1/workings/bar", shapes.BarAnswer(), body=shapes.BarBody())
def work_out_bar(call: Call) -> dict[str, Any]:
    """Work out the parts of a bar, and the re-grips of a part longer than the stroke."""
    given = call.body
    part, width = given["part_length_mm"], given["cutoff_width_mm"]
    stroke = given.get("headstock_stroke_mm")
    return {
        "parts": parts_per_bar(given["bar_length_mm"], given["bar_remnant_mm"], part, width),
        "regrips": None if stroke is None else regrips(part + width, stroke),
    }
