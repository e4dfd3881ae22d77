"""Posteriors, alone and pooled, against numbers that others printed."""

import json
from pathlib import Path

import numpy as np
import pytest

from crib.life.breakage import Breakage
from crib.life.fit import fit_exponential
from crib.life.forms import Plain, Terms
from crib.life.lognormal_form import LognormalForm
from crib.life.observations import BROKEN, life_histories
from crib.life.pooling import Hierarchy, Lives, key_table
from crib.life.weibull_form import WeibullForm

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/posteriors.json").read_text("utf-8")
    )
}


def _compare(agrees, row, ours):
    assert set(ours) == set(row["expected"])
    for name, value in ours.items():
        agrees(row, name, row["expected"][name], value, row["tolerance"][name])


def _schools(inputs, between):
    """Posterior mean and error of each school by the hierarchy of keys, in points.

    A school is a key, its estimate the one life of a key in tens of points. The effect of the
    shop is left free and what differs from key to key is set, as in the example.
    """
    y, error = np.array(inputs["effect"]) / 10, np.array(inputs["standard_error"]) / 10
    form, seen = LognormalForm(0.5), np.ones(len(y), dtype=bool)
    hierarchy = Hierarchy(key_table(np.arange(len(y)), np.zeros(8), np.zeros(8)))
    hierarchy._base |= {"shop": 1e5, "item": 1e-9, "grade": 1e-9, "operation": 1e-9}
    hierarchy._base |= {"material": 1e-9, "grade_material": 1e-9}
    hierarchy._own = np.full(len(y), between**2)
    sums = Terms(error**-2, y / error**2, np.zeros(len(y)))
    hierarchy.learn(Lives(form, sums, seen), 3, spreads=False)
    after = form.after(hierarchy.mean, hierarchy.variance, sums.first, sums.second)
    return 10 * after.mean, 10 * np.sqrt(after.variance)


def test_keys_alike_are_pooled_to_the_printed_effect(agrees):
    row = ROWS["p-01"]

    mean, error = _schools(row["inputs"], between=1e-3)

    assert mean == pytest.approx(np.full(8, mean[0]), abs=1e-3)
    _compare(agrees, row, {"mean": mean[0], "standard_error": error[0]})


def test_keys_that_differ_without_bound_keep_what_they_say_themselves(agrees):
    row = ROWS["p-02"]

    mean, error = _schools(row["inputs"], between=1e3)

    ours = {"first": mean[0], "third": mean[2], "first_error": error[0]}
    _compare(agrees, row, ours | {"eighth_error": error[7]})


@pytest.mark.parametrize("between", [0.3, 0.8, 2.0])
def test_keys_between_are_pooled_as_the_closed_form_has_it(between):
    """Gelman et al., Bayesian Data Analysis, 5.17 and 5.20 (from memory), worked out here."""
    inputs = ROWS["p-01"]["inputs"]
    y, error = (np.array(inputs[name]) / 10 for name in ("effect", "standard_error"))
    weight = 1 / (error**2 + between**2)
    common, doubt = weight @ y / weight.sum(), 1 / weight.sum()
    precision = error**-2 + between**-2
    mean = (y / error**2 + common / between**2) / precision
    # how sure the mean is: its own precision, and what is not known of the common effect
    variance = 1 / precision + (between**-2 / precision) ** 2 * doubt

    ours = _schools(inputs, between)

    assert ours[0] == pytest.approx(10 * mean, abs=2e-3)
    assert ours[1] == pytest.approx(10 * np.sqrt(variance), rel=1e-3)


def _rates(alpha, beta, failures, exposure):
    """Posterior means of break rates, each key with its own edges."""
    keys = len(failures)
    prior = Breakage(
        np.full(keys, float(alpha)), np.full(keys, float(beta)), np.zeros(keys),
        np.zeros(keys), 0.0,
    )  # fmt: skip
    # one life per failure, the first with all the exposure
    key = np.repeat(np.arange(keys), failures)
    first = np.r_[True, np.diff(key) > 0]
    parts = np.where(first, np.array(exposure, dtype=float)[key], 0.0)
    lives = life_histories(key, np.full(len(key), 1.0), parts, np.full(len(key), BROKEN))
    after = prior.after(lives, np.ones(len(key)))
    return after.alpha / after.exposure_wear(np.arange(keys), np.ones(keys))


def test_break_rates_have_the_printed_posterior(agrees):
    row = ROWS["p-03"]
    i = row["inputs"]

    one, ten = _rates(i["alpha"], i["beta"], i["deaths"], i["exposure"])

    _compare(agrees, row, {"one_year": one, "ten_years": ten})


def test_break_rates_of_like_keys_shrink_as_printed(agrees):
    row = ROWS["p-04"]
    i = row["inputs"]

    rates = _rates(i["alpha"], i["beta"], i["failures"], i["time"])

    _compare(agrees, row, {name: rates[int(name) - 1] for name in row["expected"]})


def test_lives_cut_short_count_in_the_posterior_as_printed(agrees):
    row = ROWS["p-05"]
    ended, cut_short = (np.array(row["inputs"][name]) for name in ("ended", "cut_short"))
    ages = np.concatenate([ended, cut_short]).astype(float)
    worn = (np.arange(len(ages)) < len(ended)).astype(float)
    form, one = WeibullForm(1.0), np.zeros(len(ages), dtype=np.int64)
    sums = form.plain(Plain(one, 1, np.log(ages), worn, np.ones(len(ages))), np.zeros(21))

    after = form.after(np.zeros(1), np.array([1e4]), sums.first, sums.second)

    ours = {
        "mean_life": fit_exponential(ages, worn > 0).scale,
        "mean_log": after.mean[0],
        "deviation_log": np.sqrt(after.variance[0]),
    }
    _compare(agrees, row, ours)
