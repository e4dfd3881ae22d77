"""Bounds that hold for every shop's lives."""

import itertools

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from crib.life.fit import fit_weibull, kaplan_meier
from crib.life.fitting import fit_life_model
from crib.life.observations import CENSORED, LAND_SEEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.life.replacement import weibull_swap_point
from crib.life.signs import NO_SIGNS, edge_signs
from crib.life.wear import wear_per_part_from_plain_guess
from crib.life.weibull import failure, quantile

TABLE = key_table(
    [0, 0, 1, 2], [0, 0, 0, 1], [0, 1, 0, 1], [0, 1, 0, 1], 0.0, [0.4, 0.4, 0.6, 0.2]
)
LIFE = st.tuples(
    st.integers(0, 3), st.floats(0.0, 20.0), st.floats(0, 1e5), st.sampled_from([0, 1, 2])
)
SHOPS = st.lists(LIFE, max_size=25)
WPP = st.floats(1e-5, 0.5)


def model_of(shop):
    columns = list(zip(*shop, strict=True)) or [(), (), (), ()]
    return fit_life_model(TABLE, life_histories(*columns))


@settings(max_examples=40, deadline=None)
@given(SHOPS, st.floats(0, 30), WPP)
def test_survival_falls_with_the_way_ahead(shop, age, wpp):
    ahead = np.array([0, 1e-6, 0.01, 0.1, 0.5, 1, 3, 10, 1000])

    chance = model_of(shop).survival(0, age, ahead, wpp)

    assert chance[0] == 1
    assert np.all(np.diff(chance) <= 0)
    assert np.all((chance >= 0) & (chance <= 1))


@settings(max_examples=40, deadline=None)
@given(SHOPS, st.floats(0, 30), WPP)
# A chance of one half lies where the curve bends: the search swung over it and stopped early.
@example([(0, 12.0, 0.0, 0), (1, 14.0, 4100.0, 0), (2, 1.0, 0.0, 0)], 8.34011e-306, 0.5)
def test_quantiles_rise_and_survival_agrees_with_them(shop, age, wpp):
    model, p = model_of(shop), np.array([1e-4, 0.05, 0.1, 0.5, 0.9, 0.999])
    keys = np.arange(4)

    left = model.remaining(keys, age, wpp, p)

    assert np.all(np.isfinite(left) & (left > 0))
    assert np.all(np.diff(left, axis=1) > 0)
    failed = model.fail_probability(keys[:, None], age, left, wpp)
    assert failed == pytest.approx(np.tile(p, (4, 1)), rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(SHOPS, st.floats(0.1, 100), st.floats(1.5, 1000), WPP)
def test_every_shop_has_a_swap_point_cheaper_than_waiting(shop, cost, ratio, wpp):
    model = model_of(shop)

    age, rate, share = model.swap_age(np.arange(4), cost, cost * ratio, wpp)
    _, waiting, _ = model.swap_age(np.arange(4), cost * ratio, cost * ratio, wpp)

    assert np.all(np.isfinite(age) & (age > 0) & np.isfinite(rate) & (rate > 0))
    assert np.all((share >= 0) & (share <= 1))
    # Where nothing was seen worn the age may only creep, and may then be dearer than waiting.
    worn = model.basis(np.arange(4)).worn > 0
    assert np.all(rate[worn] <= waiting[worn] * (1 + 1e-9))


ODD_AGE = st.one_of(
    st.floats(0, 20),
    st.sampled_from([0.0, 1e-300, 1e-12, 1e6, 1e15, 1e300, np.nan, np.inf, -1.0]),
)
ODD_SHARE = st.sampled_from([np.nan, -1.0, 0.0, 0.02, 0.5, 1.0, 5.0, 100.0, np.inf])
ODD_LIFE = st.tuples(
    st.integers(0, 3),
    ODD_AGE,
    st.sampled_from([0.0, 10.0, 1e300, np.nan]),
    st.sampled_from([0, 1, 2]),
    st.integers(-1, 2),
    st.one_of(st.just(np.nan), ODD_AGE),
    ODD_SHARE,
    st.one_of(st.just(np.nan), ODD_AGE),
    st.sampled_from([0, 1, 2]),
)
PROMISES = st.lists(st.sampled_from([-20.0, -5.0, 0.0, 5.0, 20.0]), min_size=4, max_size=4)
SPREADS = st.lists(st.sampled_from([0.01, 0.4, 3.0]), min_size=4, max_size=4)


@pytest.mark.filterwarnings("error")
@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(ODD_LIFE, st.integers(1, 30)), max_size=8),
    PROMISES,
    SPREADS,
    st.lists(st.floats(1, 5), min_size=4, max_size=4),
    st.sampled_from([0.0, 1e-12, 0.5, 1e6]),
    ODD_SHARE,
)
# A thousand promises and none of them worn; lives of nearly no age wide apart.
@example([((0, 1000.0, 0.0, 1, -1, np.nan, np.nan, np.nan, 0), 8),
          ((0, 1001.0, 0.0, 0, 1, np.nan, np.nan, np.nan, 0), 2)],
         [0.0] * 4, [0.4] * 4, [1.0] * 4, 0.0, 0.5)  # fmt: skip
# All failed before anybody looked, long before a far promise.
@example([((3, 1.0, 0.0, 1, 0, 0.0, np.nan, np.nan, 0), 6)],
         [0.0, 0.0, 0.0, 20.0], [0.01, 0.01, 0.01, 3.0], [1.0] * 4, 1e-12, np.nan)  # fmt: skip
@example([], [-20.0] * 4, [3.0] * 4, [5.0] * 4, 0.0, np.nan)
def test_whatever_is_written_down_the_answers_are_numbers_in_order(
    lives, promises, spreads, widening, age, share
):
    table = key_table([0, 0, 1, 2], [0, 0, 0, 1], [0, 1, 0, 1], [0, 1, 0, 1], promises, spreads)
    rows = [life for life, times in lives for _ in range(times)]
    names = ("lot", "since", "seen_share", "seen_at", "seen_kind")
    columns = list(zip(*rows, strict=True)) or [()] * 9
    histories = life_histories(*columns[:4], **dict(zip(names, columns[4:], strict=True)))
    keys, p = np.arange(4), np.array([1e-4, 0.05, 0.5, 0.9, 0.999])

    model = fit_life_model(table, histories, widening)

    for signs in (NO_SIGNS, edge_signs(0, share, age, LAND_SEEN)):
        left = model.remaining(keys, age, 0.01, p, signs)
        assert np.all(np.isfinite(left) & (left > 0))
        assert np.all(np.diff(left, axis=1) > 0)
        failed = model.fail_probability(keys, age, 0.1, 0.01, signs)
        assert np.all((failed >= 0) & (failed <= 1))
        for numbers in model.swap_age(keys, 1, 8, 0.01, signs):
            assert np.all(np.isfinite(numbers) & (numbers >= 0))
        cost = model.swap_cost(keys, age, 0.1, 1, 8, 0.01, signs)
        assert np.all(np.isfinite(cost) & (cost >= 0))
    # Never a confident guess: even a law known to the full spreads by a third.
    basis = model.basis(keys)
    assert np.all(basis.life_p90 > 1.3 * basis.life_p10)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.3, 3.0), st.floats(4.0, 5.5))
def test_more_worn_lives_bring_the_interval_to_the_law_s_own(scale, shape):
    def width(number):
        # Evenly spread over a law no flatter than expected: only their number differs. The
        # short ones do not come first, which would be a change.
        share = (np.random.default_rng(number).permutation(number) + 0.5) / number
        ages = quantile(share, shape, scale)
        model = fit_life_model(
            key_table([0], [0], [0]),
            life_histories(np.zeros(number), ages, ages * 100, [WORN] * number),
        )
        basis = model.basis(0)
        return float(np.log(basis.life_p90 / basis.life_p10)[0])

    assert width(40) < width(8) < width(1) * 1.1
    # The interval of the law itself is as narrow as it can honestly get; on the way there the
    # expected shape may hold it a little narrower still, and shapes are a dozen on a grid.
    own = float(np.log(quantile(0.9, shape, scale) / quantile(0.1, shape, scale)))
    assert width(300) == pytest.approx(own, rel=0.15)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.1, 1.0), st.integers(1, 50))
def test_edges_taken_out_alive_never_shorten_the_forecast(age, number):
    lives = life_histories([0] * number, [age] * number, [100] * number, [CENSORED] * number)
    table = key_table([0], [0], [0])

    before = fit_life_model(table, life_histories([], [], [], [])).remaining(0, age, 0.01, 0.5)
    after = fit_life_model(table, lives).remaining(0, age, 0.01, 0.5)

    assert after[0, 0] > before[0, 0] * 0.98


@settings(deadline=None)
@given(st.floats(1e-9, 0.999999), st.floats(0.3, 9), st.floats(1e-3, 1e6))
def test_a_share_fails_by_its_quantile(p, shape, scale):
    assert failure(quantile(p, shape, scale), shape, scale) == pytest.approx(p, rel=1e-9)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.1, 100), st.booleans()), min_size=3, max_size=30),
    st.floats(0.01, 100),
)
def test_a_fit_does_not_depend_on_the_unit(lives, unit):
    ages, failed = (np.array(column) for column in zip(*lives, strict=True))
    if not failed.any() or np.mean(np.log(ages[failed])) > np.log(ages.max()) - 0.05:
        return

    one, other = fit_weibull(ages, failed), fit_weibull(ages * unit, failed)

    assert other.shape == pytest.approx(one.shape, rel=1e-6)
    assert other.scale == pytest.approx(one.scale * unit, rel=1e-6)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0.1, 100), st.booleans()), min_size=1, max_size=30))
def test_the_product_limit_only_falls_and_counts_everybody(lives):
    ages, failed = (np.array(column) for column in zip(*lives, strict=True))

    steps = kaplan_meier(ages, failed)

    shares = [1.0, *(step.survival for step in steps)]
    assert all(a > b or b == 0 for a, b in itertools.pairwise(shares))
    assert sum(step.failed for step in steps) == failed.sum()


@settings(deadline=None)
@given(st.floats(1.01, 9), st.floats(1e-2, 1e4), st.floats(1.01, 1e3), st.floats(0, 2))
def test_a_planned_swap_never_costs_more_than_waiting(shape, scale, ratio, rate):
    point = weibull_swap_point(shape, scale, 1, ratio, rate / scale)
    waiting = weibull_swap_point(shape, scale, ratio, ratio, rate / scale)

    assert point.cost_rate <= waiting.cost_rate * (1 + 1e-6)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(1, 500), st.floats(1, 1e5)), min_size=1, max_size=8))
def test_wear_adds_up_whatever_the_order_of_the_jobs(jobs):
    wear = [parts * wear_per_part_from_plain_guess(life) for parts, life in jobs]

    assert sum(wear) == pytest.approx(sum(reversed(wear)))
    one_job, life = jobs[0]
    assert wear[0] == pytest.approx(one_job / life)
