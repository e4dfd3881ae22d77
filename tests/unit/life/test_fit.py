"""Plain estimates refuse what they cannot know."""

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.life.fit import fit_median_ranks, fit_weibull, kaplan_meier, median_ranks


@pytest.mark.parametrize(
    ("ages", "ended"),
    [([5], [True]), ([5, 5, 5], [True] * 3), ([3, 5], [False, False]), ([3, 5], [False, True])],
)
def test_too_little_for_a_maximum_is_refused(ages, ended):
    with pytest.raises(OutsideModel, match="pooled model"):
        fit_weibull(ages, ended)


def test_the_estimate_is_the_top_of_the_likelihood():
    rng = np.random.default_rng(3)
    ages = rng.weibull(2.4, 30) * 50
    failed = rng.random(30) < 0.7

    best = fit_weibull(ages, failed)

    def likelihood(k, theta):
        z = (ages / theta) ** k
        return np.sum(np.log(k / ages[failed]) + np.log(z[failed])) - z.sum()

    assert likelihood(best.shape, best.scale) == pytest.approx(best.log_likelihood)
    for dk, dt in [(0.01, 0), (-0.01, 0), (0, 0.1), (0, -0.1)]:
        assert likelihood(best.shape + dk, best.scale + dt) < best.log_likelihood


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_an_age_that_cannot_be_is_refused(bad):
    with pytest.raises(OutsideModel, match="above 0"):
        fit_weibull([1.0, bad], [True, True])


def test_every_life_needs_its_mark():
    with pytest.raises(OutsideModel, match="one mark"):
        kaplan_meier([1.0, 2.0], [True])


def test_without_censoring_ranks_are_plain():
    where, ranks = median_ranks([30, 10, 20], [True] * 3)

    assert where.tolist() == [10, 20, 30]
    assert ranks == pytest.approx((np.arange(1, 4) - 0.3) / 3.4)


def test_a_line_needs_two_failures():
    with pytest.raises(OutsideModel, match="two failures"):
        fit_median_ranks([5, 5, 9], [True, True, False])


def test_one_taken_out_at_the_age_of_a_failure_was_still_at_risk():
    where, ranks = median_ranks([10, 10, 20], [False, True, True])

    assert where.tolist() == [10, 20]
    assert ranks == pytest.approx((np.array([1.0, 2.5]) - 0.3) / 3.4)
