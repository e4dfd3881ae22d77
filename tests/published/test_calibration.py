"""Bands of shares, and shares estimated from lives cut short, against printed numbers."""

import json
from pathlib import Path

import numpy as np
import pytest

from crib.life.calibration import place_distribution, places
from crib.life.held import binomial_band

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/calibration.json").read_text("utf-8")
    )
}


@pytest.mark.parametrize("number", ["c-01", "c-02", "c-03"])
def test_bands_of_shares_are_the_printed_ones(agrees, number):
    row = ROWS[number]

    low, high = binomial_band(**row["inputs"])

    agrees(row, "low", row["expected"]["low"], low, row["tolerance"]["low"])
    agrees(row, "high", row["expected"]["high"], high, row["tolerance"]["high"])


def test_lives_cut_short_give_the_printed_shares(agrees):
    row = ROWS["c-04"]
    ended, cut_short = (np.array(row["inputs"][name]) for name in ("ended", "cut_short"))
    # weeks as steps of a hundredth, each in the middle of four of the estimate's cells
    at = (np.concatenate([ended, cut_short]) + 0.5) / 100
    known = np.arange(len(at)) < len(ended)

    upto = place_distribution(places(at, np.where(known, at, 1.0)))

    for week, share in row["expected"].items():
        alive = 1 - upto[4 * (int(week) + 1)]
        agrees(row, week, share, alive, row["tolerance"])
