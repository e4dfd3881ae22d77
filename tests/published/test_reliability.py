"""Life estimates, life left and swap points against published numbers and a library."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.special import gamma

from crib.life.change import log_odds, rows_by
from crib.life.fit import fit_weibull, kaplan_meier
from crib.life.replacement import weibull_swap_point
from crib.life.weibull import (
    cumulative_hazard,
    quantile,
    survival,
)

ROWS = json.loads(
    (Path(__file__).parents[2] / "fixtures/published/reliability.json").read_text("utf-8")
)["rows"]


def _lives(i):
    ages = i["failures"] + i["censored"]
    return ages, [True] * len(i["failures"]) + [False] * len(i["censored"])


def _maximum_likelihood(i):
    fit = fit_weibull(*_lives(i))
    return {
        "shape": fit.shape,
        "scale": fit.scale,
        "loglik": fit.log_likelihood,
        "B10": quantile(0.1, fit.shape, fit.scale),
    }


def _product_limit(i):
    return {f"{step.age:g}": step.survival for step in kaplan_meier(*_lives(i))}


def _life_left(i):
    law = (i["shape"], i["scale"])
    return {
        "R_cond": survival(i["t"] + i["s"], *law) / survival(i["t"], *law),
        "B10": quantile(0.1, *law),
    }


def _swap(i):
    cp, cf = i.get("cp", 1), i.get("cf", i.get("cf_over_cp"))
    point = weibull_swap_point(i["shape"], i.get("scale", 1), cp, cf)
    return {
        "T": point.age,
        "T_over_scale": point.age,
        "rate": point.cost_rate,
        "finite_optimum": bool(np.isfinite(point.age)),
    }


def _first_of_several(i):
    # Independent risks: cumulative hazards add, here at age 1.
    hazard = float(np.sum(cumulative_hazard(1.0, i["shape"], np.array(i["scales"]))))
    scale = hazard ** (-1 / i["shape"])
    return {"scale_min": scale, "mean_min": scale * gamma(1 + 1 / i["shape"])}


def _where_changed(i):
    failures = np.array(i["failures_a_year"], dtype=float)
    years = np.ones(len(failures))
    odds, _ = log_odds(rows_by(np.zeros(len(failures), dtype=int)), failures, years, years)
    return {"years_before": int(odds.argmax()) + 1, "events": int(failures.sum())}


OURS = {
    "R-01": _maximum_likelihood,
    "R-05": _maximum_likelihood,
    "R-08": _maximum_likelihood,
    "R-09": _product_limit,
    "R-11": _life_left,
    "R-12": _life_left,
    "R-15": _swap,
    "R-16": _swap,
    "R-17": _swap,
    "R-18": _swap,
    "R-22": _swap,
    "R-23": _first_of_several,
    "R-24": _where_changed,
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_life_numbers_agree_with_the_published_ones(agrees, row):
    ours = OURS[row["id"]](row["inputs"])

    for name, value in row["expected"].items():
        agrees(row, name, value, ours[name], row["tol"].get(name, 0))


@pytest.mark.parametrize("seed", range(6))
def test_maximum_likelihood_agrees_with_a_reference_library(seed):
    from lifelines import WeibullFitter

    rng = np.random.default_rng(seed)
    lives = 40 * rng.weibull(rng.uniform(0.8, 5), 60)
    taken_out = rng.uniform(5, 80, 60)
    ages, failed = np.minimum(lives, taken_out), lives <= taken_out

    ours = fit_weibull(ages, failed)

    theirs = WeibullFitter().fit(ages, failed)
    assert ours.shape == pytest.approx(theirs.rho_, rel=1e-4)
    assert ours.scale == pytest.approx(theirs.lambda_, rel=1e-4)
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood_, abs=1e-4)
