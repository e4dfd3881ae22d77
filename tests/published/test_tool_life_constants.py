"""Constants from open lives against regressions that others printed."""

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest

from crib.life.constants import estimate_constants
from crib.life.constants_regression import RegressionPrior, fit_life_regression
from crib.life.constants_tests import life_tests
from crib.life.taylor_forms import m_min_from_ft_min, mm_from_in

FOLDER = Path(__file__).parents[2] / "fixtures/published"
ROWS = {
    row["id"]: row
    for row in json.loads((FOLDER / "tool_life_constants.json").read_text("utf-8"))["rows"]
}


def _columns(name):
    with (FOLDER / name).open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {column: [row[column] for row in rows] for column in rows[0]}


def _least_squares(design, response):
    """The regression that the estimates rest on, without any prior."""
    count = design.shape[1]
    prior = RegressionPrior(np.zeros(count), np.zeros(count), coefficients_spent=count)
    ended = np.ones(len(response), dtype=bool)
    return fit_life_regression(design, response, ended, prior, "lognormal")


@pytest.fixture(scope="module")
def lathe():
    columns = {
        name: np.array([float(value) for value in values])
        for name, values in _columns(ROWS["T1-12"]["inputs"]["data"]).items()
    }
    return 900 + 300 * columns["Speed"], 13 + 6 * columns["Feed"], columns["Life"]


def test_the_open_lathe_lives_give_their_regression(agrees, lathe):
    row = ROWS["T1-12"]
    speed_ft_min, feed_thou, life = lathe
    design = np.column_stack([np.ones(20), np.log(speed_ft_min), np.log(feed_thou)])
    fit = _least_squares(design, np.log(life))
    off = np.log(life) - np.log(life).mean()
    ours = {
        "b0": fit.beta[0],
        "b1": fit.beta[1],
        "b2": fit.beta[2],
        "n": -1 / fit.beta[1],
        "s": fit.sigma,
        "R2": 1 - fit.residuals @ fit.residuals / (off @ off),
    }

    for name, value in row["expected"].items():
        agrees(row, name, value, ours[name], row["tol"][name])


def test_the_open_lathe_lives_give_their_constants_in_metric_units(agrees, lathe):
    row = ROWS["T1-12"]
    speed, feed = m_min_from_ft_min(lathe[0]), mm_from_in(lathe[1] / 1000)

    found = estimate_constants(life_tests(speed, lathe[2], feed_mm_rev=feed))

    expected, tol = row["expected"], row["tol"]
    agrees(row, "n", expected["n"], found.constants.n, tol["n"])
    agrees(row, "a", 0.35141, found.constants.feed_exponent, 5e-6)  # the row's note
    agrees(row, "s", expected["s"], found.residual_deviation, tol["s"])
    agrees(row, "R2", expected["R2"], found.explained_share, tol["R2"])
    # ln C = b0 n in ft/min and 0.001 in/rev, C at 0.001 in/rev
    c_ft_min = math.exp(expected["b0"] * expected["n"])
    at_thou = estimate_constants(
        life_tests(speed, lathe[2], feed_mm_rev=feed), reference_feed_mm_rev=0.0254
    )
    assert at_thou.constants.c_m_min == pytest.approx(0.3048 * c_ft_min, rel=1e-4)
    assert found.notes == ()


@pytest.mark.parametrize("use", ["least", "full"])
def test_weibull_lives_and_a_prior_agree_within_the_standard_errors(lathe, use):
    expected = ROWS["T1-12"]["expected"]
    tests = life_tests(
        m_min_from_ft_min(lathe[0]), lathe[2], feed_mm_rev=mm_from_in(lathe[1] / 1000)
    )

    found = estimate_constants(tests, use=use, law="weibull")

    assert abs(found.constants.n - expected["n"]) < 1.5 * found.n_se
    assert (
        abs(found.constants.feed_exponent - expected["b2"] / expected["b1"])
        < 1.5 * found.feed_exponent_se
    )


def test_lives_by_speed_and_tool_type_give_their_printed_fit(agrees):
    row = ROWS["T1-14"]
    columns = _columns(row["inputs"]["data"])
    hours, rpm = (np.array([float(v) for v in columns[name]]) for name in ("hours", "rpm"))
    design = np.column_stack([np.ones(20), rpm, [kind == "B" for kind in columns["type"]]])

    fit = _least_squares(design, hours)

    for name, ours in zip(("b0", "b1", "b2"), fit.beta, strict=True):
        agrees(row, name, row["expected"][name], ours, row["tol"][name])


def test_a_factorial_of_lives_gives_its_printed_effects(agrees):
    row = ROWS["T1-16"]
    lives, signs = [], []
    for name, runs in row["inputs"]["runs"].items():
        a, b, c = (1 if letter in name else -1 for letter in "abc")
        lives += runs
        signs += [[1, a, b, c, a * b, a * c, b * c, a * b * c]] * len(runs)

    fit = _least_squares(np.array(signs, dtype=float), np.array(lives, dtype=float))

    # an effect is the change from low to high: twice the coefficient
    for name, ours in zip(("A", "B", "C", "AB", "AC", "BC", "ABC"), fit.beta[1:], strict=True):
        agrees(row, name, row["expected"][name], 2 * ours, row["tol"][name])
