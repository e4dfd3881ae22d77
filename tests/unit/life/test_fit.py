"""Plain estimates refuse what they cannot know."""

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.life.fit import fit_weibull, kaplan_meier


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
