"""What the letters on the box mean: inserts, holders and bars, material groups."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, reads
from api.schemas.designations import HolderAnswer, InsertAnswer, MaterialAnswer
from crib.designation import material, sizes, tables
from crib.designation.explain import Position, explain_holder, explain_insert, explain_material
from crib.designation.holder import BoringBar, TurningHolder
from crib.designation.insert import Insert
from crib.designation.reading import read_any_holder, read_insert, read_material
from crib.designation.shanks import Deviations, bar_shank, square_shank

blueprint = Blueprint("designations", __name__, description="What the letters on the box mean.")


@reads(blueprint, "/v1/designations/insert/<text>", InsertAnswer(), opens=False)
def explain_insert_text(_call: Call, text: str) -> dict[str, Any]:
    """Take an insert's designation apart (ISO 1832, or in inches)."""
    insert = read_insert(text)
    metric, inches = insert.metric(), insert.inches()
    return {
        "designation": str(insert),
        "metric": str(metric) if metric else None,
        "inches": str(inches) if inches else None,
        "shape": insert.shape,
        "included_angle_deg": insert.included_angle_deg,
        "clearance": insert.clearance,
        "clearance_deg": insert.clearance_deg,
        "tolerance_class": insert.tolerance,
        "tolerance": _tolerance(insert),
        "type": insert.type,
        "size": insert.size,
        "inscribed_circle_mm": insert.circle_mm,
        "edge_length_mm": insert.edge_length_mm,
        "thickness_mm": insert.thickness_mm,
        "corner_radius_mm": insert.corner_radius_mm,
        "faces": insert.faces,
        "edges": insert.edges,
        "hand": insert.hand or None,
        "maker": insert.maker or None,
        "positions": _positions(explain_insert(insert)),
    }


def _tolerance(insert: Insert) -> dict[str, float | None]:
    told: dict[str, float | None] = {}
    for name, range_ in zip("dms", insert.limits, strict=True):
        least, greatest = range_ or (None, None)
        told[f"{name}_mm"] = least if least == greatest else None
        told[f"{name}_from_mm"], told[f"{name}_to_mm"] = least, greatest
    return told


@reads(blueprint, "/v1/designations/holder/<text>", HolderAnswer(), opens=False)
def explain_holder_text(_call: Call, text: str) -> dict[str, Any]:
    """Take a holder's (ISO 5608) or boring bar's (ISO 6261) designation apart."""
    holder = read_any_holder(text)
    pocket = holder.pocket
    circle_mm = None
    if pocket.shape != "R":  # a round insert's corner tells the series, and a holder has none
        circle_mm = sizes.circle_mm(pocket.shape, pocket.size, "")
    return {
        "designation": str(holder),
        "clamping": pocket.clamping,
        "insert_shape": pocket.shape,
        "included_angle_deg": tables.SHAPES[pocket.shape].angle_deg,
        "style": pocket.style,
        "edge_angle_deg": holder.edge_angle_deg,
        "clearance": pocket.clearance,
        "clearance_deg": tables.CLEARANCE_DEG[pocket.clearance],
        "hand": pocket.hand,
        **_shank(holder),
        "length_mm": holder.length_mm,
        "size": pocket.size,
        "inscribed_circle_mm": circle_mm,
        "maker": holder.maker or None,
        "positions": _positions(explain_holder(holder)),
    }


def _shank(holder: TurningHolder | BoringBar) -> dict[str, Any]:
    if isinstance(holder, BoringBar):
        across_mm = holder.shank_diameter_mm
        return {
            "kind": "boring bar",
            "shank_height_mm": None,
            "shank_width_mm": None,
            "shank_diameter_mm": across_mm,
            "shank_limits": [_limits("diameter", "g7", across_mm, bar_shank(across_mm))],
        }
    height_mm, width_mm = holder.shank_height_mm, holder.shank_width_mm
    return {
        "kind": "square shank",
        "shank_height_mm": height_mm,
        "shank_width_mm": width_mm,
        "shank_diameter_mm": None,
        "shank_limits": [
            _limits("height", "h13", height_mm, square_shank(height_mm)),
            _limits("width", "h13", width_mm, square_shank(width_mm)),
        ],
    }


def _limits(of: str, tolerance: str, nominal_mm: float, off: Deviations) -> dict[str, Any]:
    return {
        "of": of,
        "tolerance": tolerance,
        "least_mm": (nominal_mm * 1000 + off.lower_um) / 1000,
        "greatest_mm": (nominal_mm * 1000 + off.upper_um) / 1000,
    }


@reads(blueprint, "/v1/designations/material/<text>", MaterialAnswer(), opens=False)
def explain_material_text(_call: Call, text: str) -> dict[str, Any]:
    """Show what a material group is, and what an application number in it (ISO 513)."""
    found = read_material(text)
    group = material.GROUPS[found.group]
    return {
        "designation": str(found),
        "cutting_material": found.cutting_material or None,
        "group": found.group,
        "name": group.name,
        "workpieces": group.words,
        "number": found.number or None,
        "application": found.lean,
        "positions": _positions(explain_material(found)),
    }


def _positions(told: tuple[Position, ...]) -> list[dict[str, Any]]:
    return [one._asdict() for one in told]
