"""Order quantities, safety stocks and Poisson cover against printed numbers."""

import json
import math
from pathlib import Path

import pytest

from crib.planning.order_quantity import (
    order_quantity,
    poisson_cover,
    reorder_point,
)

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/stock.json").read_text("utf-8")
    )
}


def test_the_cheapest_order_is_the_printed_one(agrees):
    row = ROWS["s-01"]

    ours = order_quantity(**row["inputs"])

    for name, value in row["expected"].items():
        agrees(row, name, value, getattr(ours, name), row["tolerance"][name])


def test_safety_stock_and_reorder_point_are_the_printed_ones(agrees):
    row = ROWS["s-03"]
    inputs = row["inputs"]

    # The book's figures are for the whole delivery time: as one day, or as nine.
    for days in (1, 9):
        ours = reorder_point(
            inputs["mean"] / days,
            inputs["deviation"] / math.sqrt(days),
            days,
            inputs["service_level"],
        )

        for name, value in row["expected"].items():
            agrees(row, name, value, getattr(ours, name), row["tolerance"][name])


@pytest.mark.parametrize("name", ["s-07", "s-08"])
def test_poisson_demand_is_covered_as_computed_elsewhere(agrees, name):
    row = ROWS[name]

    agrees(row, "pieces", row["expected"]["pieces"], poisson_cover(**row["inputs"]))


@pytest.mark.parametrize("mean", [0.01, 0.7, 4, 23.5, 600])
@pytest.mark.parametrize("service_level", [0.05, 0.5, 0.95, 0.9999])
def test_poisson_demand_is_covered_as_direct_summation_says(mean, service_level):
    pieces, term = 0, math.exp(-mean)
    total = term
    while total < service_level:
        pieces += 1
        term *= mean / pieces
        total += term

    assert poisson_cover(mean, service_level) == pieces
