"""The speed-life curve against printed and independently derived numbers."""

import json
from pathlib import Path

import pytest

from crib.life.taylor import (
    TaylorConstants,
    constants_from_two_tests,
    life_min,
    speed_for_life_m_min,
)

ROWS = json.loads(
    (Path(__file__).parents[2] / "fixtures/published/tool_life.json").read_text("utf-8")
)["rows"]


def _two_tests(i):
    found = constants_from_two_tests(*map(tuple, i["points"]))
    return {"n": found.n, "C": found.c_m_min}


def _halved_speed(i):
    curve = TaylorConstants(i["n"], i["C"])
    slow, fast = life_min([100 * i["v_ratio"], 100], None, None, curve)
    return {"life_ratio": slow / fast, "increase_pct": 100 * (slow / fast - 1)}


def _changed_speed(i):
    slow, base, fast = life_min([80, 100, 130], None, None, TaylorConstants(i["n"], i["C"]))
    return {"minus20_pct": 100 * (slow / base - 1), "plus30_pct": 100 * (fast / base - 1)}


def _table(i):
    curve = TaylorConstants(i["n"], i["C"])
    return {
        "T_at_V_min": life_min(i["V"], None, None, curve),
        "V_at_T": speed_for_life_m_min(i["T"], curve),
    }


def _exponents(i):
    # d ln T / d ln V and so on, by doubling one of the three at a time.
    from math import log2

    curve = TaylorConstants(i["n"], 100, feed_exponent=i["y"], depth_exponent=i["x"])
    at = float(life_min(50, 0.2, 1.0, curve))
    return {
        "V": log2(float(life_min(100, 0.2, 1.0, curve)) / at),
        "f": log2(float(life_min(50, 0.4, 1.0, curve)) / at),
        "d": log2(float(life_min(50, 0.2, 2.0, curve)) / at),
    }


def _extended(i):
    curve = TaylorConstants(i["n"], i["C"], feed_exponent=i["a"], depth_exponent=i["b"])
    return {"T_min": life_min(i["V"], i["f"], i["d"], curve)}


OURS = {
    "T1-01": _two_tests,
    "T1-03": _halved_speed,
    "T1-05": _changed_speed,
    "T1-06": _table,
    "T1-08": _exponents,
    "T1-10": _extended,
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_tool_life_agrees_with_the_printed_number(agrees, row):
    ours = OURS[row["id"]](row["inputs"])

    for name, value in row["expected"].items():
        agrees(row, name, value, ours[name], row["tol"][name])
