"""Shares beside their claims: exact bands against scipy, partly known outcomes, verdicts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, binomtest

from crib.errors import OutsideModel
from crib.life.held import (
    TOO_CAUTIOUS,
    TOO_FEW,
    TOO_SURE,
    WITHIN_CHANCE,
    binomial_band,
    judge,
    more_to_tell,
    statements_held,
)


@given(st.integers(1, 300), st.data(), st.sampled_from([0.5, 0.9, 0.95, 0.99]))
def test_the_band_is_the_exact_binomial_one(trials, data, level):
    held = data.draw(st.integers(0, trials))

    low, high = binomial_band(held, trials, level)

    # reference: scipy.stats, the interval of Clopper and Pearson
    theirs = binomtest(held, trials).proportion_ci(level, method="exact")
    assert (low, high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@pytest.mark.parametrize("true_share", [0.5, 0.8, 0.9, 0.98])
@pytest.mark.parametrize("trials", [5, 12, 60])
def test_the_band_covers_the_true_share_as_often_as_it_says(true_share, trials):
    held = np.arange(trials + 1)
    low, high = binomial_band(held, trials)

    covers = (low <= true_share) & (true_share <= high)

    assert binom.pmf(held[covers], trials, true_share).sum() >= 0.95


def test_no_trial_says_nothing():
    found = judge(0.9, 0.0, 0.0)

    assert (found.band_low, found.band_high, found.held) == (0.0, 1.0, None)
    assert found.verdict == TOO_FEW


@pytest.mark.parametrize(
    ("claimed", "held", "trials", "verdict"),
    [
        (0.9, 0.6, 40, TOO_SURE),
        (0.5, 0.9, 40, TOO_CAUTIOUS),
        (0.9, 0.85, 40, WITHIN_CHANCE),
        (0.9, 0.0, 4, TOO_FEW),
    ],
)
def test_a_claim_outside_the_band_is_told_by_its_side(claimed, held, trials, verdict):
    assert judge(claimed, held, trials).verdict == verdict


def test_statements_with_known_ends_are_counted():
    claimed, known = [0.9] * 50, [1] * 44 + [0] * 6

    found = statements_held(claimed, known, [0.0] * 50, [1.0] * 50)

    assert (found.held, found.trials) == pytest.approx((0.88, 50))
    assert (found.known_held, found.known_failed) == (44, 6)
    low, high = binomial_band(44, 50)
    assert (found.band_low, found.band_high) == pytest.approx((float(low), float(high)))


def shifts(rng: np.random.Generator, edges: int, claimed: float, true_factor: float):
    """Statements of right hazard times a factor; a third of the edges leave in between."""
    place = 1 - rng.random(edges) ** (1 / true_factor)
    leaves = np.where(rng.random(edges) < 0.5, rng.random(edges) * (1 - claimed), 1.0)
    fails = place < np.minimum(leaves, 1 - claimed)
    lasts = ~fails & (leaves >= 1 - claimed)
    known = np.where(lasts, 1, np.where(fails, 0, -1))
    low = np.where(known < 0, leaves, 0.0)
    return [claimed] * edges, known, low, np.ones(edges)


@pytest.mark.parametrize(("claimed", "factor"), [(0.9, 1.0), (0.7, 1.0), (0.7, 2.0)])
def test_edges_taken_out_before_the_time_was_up_do_not_bias_the_share(claimed, factor):
    found = statements_held(*shifts(np.random.default_rng(3), 20_000, claimed, factor))
    known = found.known_held / (found.known_held + found.known_failed)

    true_share = claimed**factor
    assert found.held == pytest.approx(true_share, abs=0.01)
    assert known < true_share - 0.015  # counting only known ends would
    assert found.known_held + found.known_failed < found.trials < 20_000


def test_right_statements_are_seldom_called_wrong():
    rng = np.random.default_rng(5)
    verdicts = [statements_held(*shifts(rng, 60, 0.8, 1.0)).verdict for _ in range(400)]

    assert np.mean([verdict != WITHIN_CHANCE for verdict in verdicts]) <= 0.06


def test_wrong_statements_are_called_too_sure():
    rng = np.random.default_rng(6)
    verdicts = [statements_held(*shifts(rng, 80, 0.9, 4.0)).verdict for _ in range(50)]

    assert np.mean([verdict == TOO_SURE for verdict in verdicts]) > 0.9


@pytest.mark.parametrize("claimed", [0.0, 1.0])
@pytest.mark.parametrize("known", [-1, 0, 1])
def test_claims_of_certainty_stay_finite(claimed, known):
    found = statements_held([claimed] * 6, [known] * 6, [0.3] * 6, [1.0] * 6)

    assert np.isfinite([found.claimed, found.trials, found.band_low, found.band_high]).all()
    assert found.held is None or 0 <= found.held <= 1


@pytest.mark.parametrize(
    ("claimed", "known", "low", "high"),
    [
        ([1.2], [1], [0.0], [1.0]),
        ([0.9], [1], [0.5], [0.2]),
        ([0.9, 0.8], [1], [0.0], [1.0]),
        ([float("nan")], [1], [0.0], [1.0]),
    ],
)
def test_statements_that_contradict_themselves_are_refused(claimed, known, low, high):
    with pytest.raises(OutsideModel):
        statements_held(claimed, known, low, high)


@pytest.mark.parametrize(
    ("trials", "known", "more"),
    [(2.5, 60, 60), (4.0, 4, 1), (0.0, 0, 5), (0.0, 3, 5), (5.0, 9, 0), (3.0, 2, 2)],
)
def test_what_more_it_takes_goes_by_what_the_ends_so_far_were_worth(trials, known, more):
    found = replace(judge(0.8, 0.7, trials), known_held=known, known_failed=0.0)

    assert more_to_tell(found) == more


def test_more_held_than_tried_is_refused():
    with pytest.raises(OutsideModel):
        binomial_band(3, 2)
