"""Bands of shares, lives cut short and failures expected, against printed numbers."""

import json
from pathlib import Path

import numpy as np
import pytest

from crib.life.as_long import as_long, log_likelihood, wear_made
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


def test_failures_expected_over_all_time_watched_are_the_printed_ones(agrees):
    row = ROWS["c-05"]
    failures, weeks = row["inputs"]["rate"]
    ended, cut_short = (np.array(row["inputs"][name]) for name in ("ended", "cut_short"))
    hazard = np.concatenate([ended, cut_short]) * failures / weeks
    failed = np.arange(len(hazard)) < len(ended)

    found = as_long(_in_one_stage(hazard, failed))

    tolerance = row["tolerance"]
    agrees(row, "failures", row["expected"]["failures"], found.expected, tolerance["failures"])
    ratio = np.log(found.life_factor)
    agrees(row, "log_ratio", row["expected"]["log_ratio"], ratio, tolerance["log_ratio"])


def test_the_one_sample_test_is_the_printed_one(agrees):
    row = ROWS["c-06"]
    seen = row["inputs"]["seen"]
    made = _in_one_stage(np.full(seen, row["inputs"]["expected"] / seen), np.ones(seen, bool))

    ratio = np.log(as_long(made).life_factor)

    agrees(row, "log_ratio", row["expected"]["log_ratio"], ratio, row["tolerance"]["log_ratio"])
    # the test is the slope of the log likelihood squared over its curvature, by differences
    step = 1e-3
    lower, upper = (log_likelihood(made, sign * step).sum() for sign in (-1, 1))
    score, curvature = (upper - lower) / (2 * step), -(upper + lower) / step**2
    tolerance = row["tolerance"]["chi_square"]
    agrees(row, "chi_square", row["expected"]["chi_square"], score**2 / curvature, tolerance)


def _in_one_stage(hazard, failed):
    """Pieces of constant rate: their stage of life does not matter."""
    good = np.zeros((len(hazard), 4))
    good[:, 0] = hazard
    zero = np.zeros(len(hazard))
    return wear_made(good, 0 * good, failed, zero, zero + 1)
