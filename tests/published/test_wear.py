"""Wear and size growth against printed and independently derived numbers."""

import json
import math
from pathlib import Path

import pytest

from crib.cutting.finish import (
    ideal_mean_um,
    parabola_peak_um,
)
from crib.life.wear import size_growth_mm, wear_per_part_from_plain_guess

ROWS = json.loads(
    (Path(__file__).parents[2] / "fixtures/published/wear.json").read_text("utf-8")
)["rows"]


def _share_left(i):
    used = sum(
        run["parts"] * wear_per_part_from_plain_guess(run["life_parts"]) for run in i["done"]
    )
    per_part = wear_per_part_from_plain_guess(i["next_life_parts"])
    return {"share_left": 1 - used, "parts_left": math.floor((1 - used) / per_part)}


def _growth(i):
    unit = "in" if "VB_in" in i else "mm"
    land, angle = i[f"VB_{unit}"], i["clearance_deg"]
    return {
        f"radius_{unit}": size_growth_mm(land, angle, on_diameter=False),
        f"diameter_{unit}": size_growth_mm(land, angle),
    }


def _mean_roughness(i):
    return {"Ri_um": ideal_mean_um(i["f"], i["r_eps"])}


def _roughness(i):
    f, r = i["f"], i["r_eps"]
    return {
        "Rt_parabola_um": parabola_peak_um(f, r),
        "Ra_32_um": ideal_mean_um(f, r),
    }


OURS = {
    "E-08": _share_left,
    "W-03": _growth,
    "W-04": _growth,
    "W-07": _mean_roughness,
    "W-08": _roughness,
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_wear_agrees_with_the_printed_number(agrees, row):
    ours = OURS[row["id"]](row["inputs"])

    for name, value in row["expected"].items():
        agrees(row, name, value, ours[name], row["tol"][name])
