"""What lives at several cuts tell of Taylor's constants, and what they do not."""

import math

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.life.constants import estimate_constants
from crib.life.constants_prior import prior_around, prior_of_any_tool
from crib.life.constants_regression import (
    RegressionPrior,
    fit_life_regression,
    flat_prior,
)
from crib.life.constants_tests import life_tests
from crib.life.starter import starter_constants
from crib.life.taylor import TaylorConstants, constants_from_two_tests, life_min

FOUR = ([100, 100, 150, 150], [40, 44, 8, 9])


def test_two_tests_give_the_curve_through_them():
    found = estimate_constants(life_tests([160, 100], [5, 41]))

    through = constants_from_two_tests((160, 5), (100, 41))
    assert found.constants.n == pytest.approx(through.n, rel=1e-9)
    assert found.constants.c_m_min == pytest.approx(through.c_m_min, rel=1e-9)
    assert found.n_se > 0.03  # two edges may differ by chance
    assert any("too few" in note for note in found.notes)


def test_a_life_cut_short_is_a_life_that_was_longer():
    tests = [100, 100, 100, 150, 150, 150], [40, 44, 41, 8, 9, 9]
    whole = estimate_constants(life_tests(*tests))
    short = estimate_constants(life_tests(*tests, [True, True, False, True, True, True]))
    dropped = estimate_constants(life_tests(*([v[i] for i in (0, 1, 3, 4, 5)] for v in tests)))

    at = 100
    assert short.life_at(at).life_min > whole.life_at(at).life_min
    assert short.life_at(at).life_min > dropped.life_at(at).life_min


@pytest.mark.parametrize("law", ["weibull", "lognormal"])
def test_it_finds_the_constants_that_the_lives_were_drawn_from(law):
    truth = TaylorConstants(0.28, 350, 0.35, 0.15, 0.1, 1.0)
    rng = np.random.default_rng(7)
    v, f, d = rng.uniform((90, 0.05, 0.4), (180, 0.15, 2.0), (400, 3)).T
    noise = np.log(rng.exponential(size=400) / math.log(2)) if law == "weibull" else (
        rng.normal(size=400)
    )  # fmt: skip
    lives = life_min(v, f, d, truth) * np.exp(0.3 * noise)
    limit = np.quantile(lives, 0.8)

    found = estimate_constants(
        life_tests(v, np.minimum(lives, limit), lives < limit, f, d),
        law=law,
        reference_feed_mm_rev=0.1,
        reference_depth_mm=1.0,
    )

    assert abs(found.constants.n - truth.n) < 2.5 * found.n_se < 0.05
    assert abs(found.constants.c_m_min - truth.c_m_min) < 2.5 * found.c_se_m_min
    assert abs(found.constants.feed_exponent - 0.35) < 2.5 * found.feed_exponent_se
    assert abs(found.constants.depth_exponent - 0.15) < 2.5 * found.depth_exponent_se
    assert all(found.told.values())
    assert found.notes == ()


def test_one_speed_tells_a_level_and_leaves_n_to_the_prior():
    found = estimate_constants(life_tests([120] * 5, [30, 33, 28, 36, 31]))

    assert found.constants.n == pytest.approx(1 / prior_of_any_tool().power_mean[0])
    assert found.n_se == pytest.approx(0.125, rel=0.01)
    assert not found.told["speed"]
    assert any("do not determine n" in note and "same speed" in note for note in found.notes)
    assert found.life_at(120).life_min == pytest.approx(31.5, rel=0.02)
    near, far = found.life_at(121), found.life_at(240)
    assert far.life_high_min / far.life_low_min > 5 * near.life_high_min / near.life_low_min


def test_speeds_a_hair_apart_do_not_tell_n():
    found = estimate_constants(life_tests([100, 100.1] * 3, [30, 29, 33, 27, 31, 30]))

    assert not found.told["speed"]
    assert found.constants.n == pytest.approx(0.25, rel=0.05)
    # near enough for their line to look like a tool's, too near for it to be told
    assert not estimate_constants(life_tests([100, 105], [32, 27])).told["speed"]


def test_speed_and_feed_that_rise_together_are_told_apart_by_the_prior_alone():
    found = estimate_constants(
        life_tests([100, 120, 144] * 3, [60, 30, 14, 55, 28, 16, 66, 31, 13], None,
                   [0.05, 0.06, 0.072] * 3)
    )  # fmt: skip

    assert found.told == {"speed": False, "feed": False, "depth": False}
    assert sum("do not determine" in note for note in found.notes) == 2
    # what they do tell is the way along which both rise
    assert found.life_at(120, 0.06).life_min == pytest.approx(30, rel=0.1)


def test_none_that_ended_says_only_that_lives_are_longer():
    found = estimate_constants(life_tests([100, 150], [60, 90], [False, False]))

    assert found.life_at(100).life_min > 60
    assert any("No test ran to its end" in note for note in found.notes)
    assert found.life_at(100).life_high_min > 3 * found.life_at(100).life_min


def test_an_absurd_life_widens_the_answer_and_is_asked_about():
    lives = [30, 18, 11, 32, 19, 10, 28, 16, 1e6]
    found = estimate_constants(life_tests([100, 120, 140] * 3, lives))

    assert any(note.startswith("Test 9 lived") for note in found.notes)
    assert found.residual_deviation > 1
    assert 0.1 < found.constants.n < 0.6


def test_two_lives_that_grow_with_the_speed_are_asked_about():
    found = estimate_constants(life_tests([100, 150], [5, 50]))
    sound = estimate_constants(life_tests([160, 100], [5, 41]))

    assert any("Faster tests lasted longer" in note for note in found.notes)
    assert not any("Faster tests lasted longer" in note for note in sound.notes)


def test_lives_that_grow_with_speed_are_refused():
    with pytest.raises(OutsideModel, match="do not fall") as refused:
        estimate_constants(life_tests([100, 120, 140] * 4, [10, 20, 40] * 4))
    assert refused.value.errors[0]["field"] == "tests"


def test_a_feed_that_seems_to_help_is_left_out_and_said():
    found = estimate_constants(
        life_tests([100, 100, 150, 150] * 2, [40, 50, 8, 10] * 2, None, [0.05, 0.1] * 4)
    )

    assert found.constants.feed_exponent == 0
    assert found.feed_exponent_se is None
    assert any("grew with the feed" in note for note in found.notes)


def test_outside_the_range_the_answer_says_so():
    found = estimate_constants(life_tests(*FOUR, None, [0.1] * 4))

    assert found.life_at(120, 0.1).outside == ()
    assert found.life_at(200, 0.3).outside == (
        "200 m/min lies outside 100 to 150 m/min",
        "0.3 mm/rev lies outside 0.1 to 0.1 mm/rev",
    )


def test_a_handbook_prior_gives_way_as_lives_come():
    centre = starter_constants("hss", "P").constants
    few = life_tests(*FOUR)
    many = life_tests(FOUR[0] * 30, FOUR[1] * 30)
    n = [
        estimate_constants(
            tests, prior_around(centre, tests.mean_cut(), name="handbook"), use="full"
        ).constants.n
        for tests in (few, many)
    ]
    alone = estimate_constants(many).constants.n

    assert centre.n < n[0] < n[1] < alone
    assert n[1] == pytest.approx(alone, rel=0.02)


def test_without_a_prior_too_few_lives_are_refused():
    for tests in (([100], [10]), ([100, 120], [30, 15]), ([100, 100, 100], [9, 10, 11])):
        with pytest.raises(OutsideModel, match="prior"):
            estimate_constants(life_tests(*tests), use="none")


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"cutting_speed_m_min": [0.0]}, "tests.0.cutting_speed_m_min"),
        ({"life_min": [0.0]}, "tests.0.life_min"),
        ({"life_min": [5.3e7]}, "tests.0.life_min"),  # a century
        ({"life_min": [math.nan]}, "tests.0.life_min"),
        ({"feed_mm_rev": [-0.1]}, "tests.0.feed_mm_rev"),
        ({"depth_mm": [math.inf]}, "tests.0.depth_mm"),
    ],
)
def test_a_test_that_cannot_be_names_its_place(values, field):
    with pytest.raises(OutsideModel) as refused:
        life_tests(**{"cutting_speed_m_min": [100.0], "life_min": [10.0]} | values)
    assert refused.value.errors[0]["field"] == field


def test_a_feed_of_some_tests_only_is_refused():
    with pytest.raises(OutsideModel, match="for all or for none"):
        life_tests([100, 120], [30, 15], None, [0.1, None])
    assert life_tests([100, 120], [30, 15], None, [None, None]).feed_mm_rev is None


def test_no_tests_or_unequal_columns_are_refused():
    for columns in (([], []), ([100], [10, 20]), ([100, 120], [10, 20], [True])):
        with pytest.raises(OutsideModel):
            life_tests(*columns)


def test_a_normal_prior_and_normal_lives_join_as_the_textbook_says():
    """One coefficient, sigma held: precision-weighted mean of prior and sample mean."""
    y = np.array([1.0, 2.0, 3.0])
    prior = RegressionPrior(np.array([10.0]), np.array([2.0]), math.log(0.5), 1e12)
    fit = fit_life_regression(np.ones((3, 1)), y, np.ones(3, bool), prior, "lognormal")

    assert fit.beta[0] == pytest.approx((3 / 0.25 * 2.0 + 2.0 * 10.0) / (3 / 0.25 + 2.0))
    assert fit.covariance[0, 0] == pytest.approx(1 / (3 / 0.25 + 2.0))


def test_a_regression_that_nothing_holds_is_refused():
    with pytest.raises(OutsideModel, match="do not determine every constant"):
        fit_life_regression(
            np.ones((4, 2)), np.arange(4.0), np.ones(4, bool), flat_prior(2), "weibull"
        )


@pytest.mark.parametrize("law", ["weibull", "lognormal"])
def test_the_error_of_c_is_that_of_the_life_at_c_on_the_other_axis(law):
    """At v = C the life is one minute; dC/C = n d(ln T) there."""
    rng = np.random.default_rng(2)
    v, f, d = rng.uniform((80, 0.05, 0.5), (160, 0.15, 2.0), (30, 3)).T
    lives = life_min(v, f, d, TaylorConstants(0.25, 200, 0.3, 0.1)) * rng.lognormal(0, 0.3, 30)
    found = estimate_constants(
        life_tests(v, lives, rng.random(30) < 0.8, f, d),
        law=law,
        reference_feed_mm_rev=0.2,
        reference_depth_mm=3.0,
    )

    at = found.life_at(found.constants.c_m_min, 0.2, 3.0)
    assert at.life_min == pytest.approx(1.0)
    tenth = 1.2815515655446004
    if law == "weibull":
        tenth_below = (math.log(-math.log(0.9)) - math.log(math.log(2))) / found.shape
    else:
        tenth_below = -tenth * found.residual_deviation
    se = math.sqrt(math.log(at.life_low_min) ** 2 - tenth_below**2) / tenth
    assert found.c_se_m_min == pytest.approx(found.constants.c_m_min * found.constants.n * se)


def test_the_errors_of_the_exponents_follow_small_changes_of_the_powers():
    """Least squares by hand: the errors of b1 and b2 carried over to n = -1/b1, a = b2/b1."""
    rng = np.random.default_rng(4)
    v, f = rng.uniform((80, 0.05), (160, 0.15), (25, 2)).T
    lives = life_min(v, f, None, TaylorConstants(0.25, 200, 0.3)) * rng.lognormal(0, 0.3, 25)
    x = np.column_stack([np.ones(25), np.log(v), np.log(f)])
    b, rss = np.linalg.lstsq(x, np.log(lives), rcond=None)[:2]
    cov = np.linalg.inv(x.T @ x) * rss[0] / 22
    slope_n = np.array([0, 1 / b[1] ** 2, 0])
    slope_a = np.array([0, -b[2] / b[1] ** 2, 1 / b[1]])

    found = estimate_constants(life_tests(v, lives, feed_mm_rev=f))

    assert found.n_se == pytest.approx(math.sqrt(slope_n @ cov @ slope_n), rel=1e-6)
    assert found.feed_exponent_se == pytest.approx(math.sqrt(slope_a @ cov @ slope_a), rel=1e-6)
