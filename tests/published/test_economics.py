"""Economic speeds, cost of an edge and of a part against worked examples."""

import json
from pathlib import Path

import pytest

from crib.life.economics import (
    CutCosts,
    at_speed,
    cut_minutes,
    edge_cost,
    least_cost_life_min,
    most_output_life_min,
)
from crib.life.taylor import TaylorConstants, speed_for_life_m_min

ROWS = json.loads(
    (Path(__file__).parents[2] / "fixtures/published/economics.json").read_text("utf-8")
)["rows"]


def _optimum(i, life):
    speed = float(speed_for_life_m_min(life, TaylorConstants(i["n"], i["C"])))
    return {"T_opt_min": life, "v_m_min": speed}


def _most_output(i):
    # What a minute and an edge cost plays no part in it.
    return _optimum(i, most_output_life_min(i["n"], CutCosts(i["Tt_min"], 1.0, 0.0)))


def _least_cost(i):
    costs = CutCosts(i["Tt_min"], i["Co_per_min"], i["Ct_per_edge"])
    return _optimum(i, least_cost_life_min(i["n"], costs))


def _one_part(i):
    minutes = cut_minutes(i["v"], i["D_mm"], i["L_mm"], i["f"])
    curve, costs = TaylorConstants(i["n"], i["C"]), CutCosts(i["Tt_min"], i["Co"], i["Ct"])
    part = at_speed(i["v"], curve, costs, minutes, i["Th_min"], whole_parts=True)
    return {
        "Tm_min": part.cut_min,
        "T_min": part.life_min,
        "pieces_per_edge": part.life_min // part.cut_min,
        "Tc_min": part.part_min,
        "rate_per_h": 60 / part.part_min,
        "cost": part.part_cost,
    }


def _edge(i):
    return {"Ct": edge_cost(i["insert_price"], i["edges"], i["usable_fraction"])}


OURS = {"E-01": _most_output, "E-02": _least_cost, "E-03": _one_part, "E-06": _edge}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_costs_and_speeds_agree_with_the_worked_example(agrees, row):
    ours = OURS[row["id"]](row["inputs"])

    for name, value in row["expected"].items():
        agrees(row, name, value, ours[name], row["tol"][name])
