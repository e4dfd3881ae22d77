"""What was seen of wear, boxes and silent nights moves the forecast the right way."""

import numpy as np
import pytest
from scipy import integrate, stats

from crib.errors import OutsideModel
from crib.life.fitting import fit_life_model
from crib.life.observations import (
    BROKEN,
    CENSORED,
    LAND_SEEN,
    NOTHING_SEEN,
    SIZE_SEEN,
    WORN,
    life_histories,
)
from crib.life.pooling import key_table
from crib.life.signs import edge_signs

WPP = 0.01
#: Worn edges that prove how looks are to be read.
MANY = 120


def drawn(number, shape=3.5, seed=0):
    return np.random.default_rng(seed).weibull(shape, number)


def model_of(lives, **more):
    return fit_life_model(key_table([0], [0], [0]), lives, **more)


def alike(ages, ended, **columns):
    return life_histories(np.zeros(len(ages)), ages, 100 * np.asarray(ages), ended, **columns)


WORN_TEN = model_of(alike(drawn(10), [WORN] * 10))


def test_a_large_land_shortens_and_a_small_one_lengthens_the_life_left():
    seen = edge_signs(-1, [np.nan, 0.9, 0.3], 0.5, [NOTHING_SEEN, LAND_SEEN, LAND_SEEN])

    plain, worn, fresh = WORN_TEN.remaining(0, 0.5, WPP, 0.5, signs=seen)[:, 0]

    assert worn < plain < fresh


def test_an_edge_seen_half_worn_is_given_as_long_again_or_a_little_more():
    seen = edge_signs(-1, 0.5, 0.4, SIZE_SEEN)
    lives = drawn(20, seed=3)
    told = model_of(
        alike(lives, [WORN] * 20, seen_share=[1.0] * 20, seen_kind=[SIZE_SEEN] * 20)
    )

    low, half, high = told.remaining(0, 0.4, WPP, (0.1, 0.5, 0.9), signs=seen)[0]

    assert low < 0.4 < high
    # The run-in takes its part of the land in no time.
    assert 0.35 < half < 0.65


def test_a_look_that_nothing_bears_out_widens_the_answer():
    # Seen at 2 % of the limit after three usual lives: a slip of the pen, most likely.
    absurd = edge_signs(-1, 0.02, 3.0, LAND_SEEN)

    left = WORN_TEN.remaining(0, 3.0, WPP, (0.05, 0.5, 0.95), signs=absurd)[0]

    assert np.all(np.isfinite(left))
    assert left[2] / left[0] > 30


def test_looks_at_planned_removals_tell_what_their_ages_do_not():
    # Another key's edges, worn out, showed half the land at half their life. Of this key all
    # were taken out at one age, alive.
    worn, rng = drawn(MANY, seed=9), np.random.default_rng(9)
    half = worn * rng.uniform(0.3, 0.85, MANY)
    error = np.exp(0.05 * rng.standard_normal(MANY))

    def basis(share):
        lives = life_histories(
            [0] * 15 + [1] * MANY,
            [*np.full(15, 0.3), *worn],
            [30] * (15 + MANY),
            [CENSORED] * 15 + [WORN] * MANY,
            seen_share=[share] * 15 + list(half / worn * error),
            seen_at=[0.3] * 15 + list(half),
            seen_kind=[LAND_SEEN] * (15 + MANY),
        )
        return fit_life_model(key_table([0, 1], [0, 1], [0, 0]), lives).basis(0)

    nearly, blind, hardly = basis(0.8), basis(np.nan), basis(0.15)

    lives = [float(one.life_p50[0]) for one in (nearly, blind, hardly)]
    assert lives == sorted(lives)
    assert lives[0] == pytest.approx(0.3 / 0.8, rel=0.3)
    assert nearly.life_p90[0] / nearly.life_p10[0] < blind.life_p90[0] / blind.life_p10[0]


def test_a_failure_found_in_the_morning_is_dated_to_the_night():
    true = drawn(400, seed=5)
    # Seen only at every 0.5 wear units: dated to the look, lives come out long.
    found = np.ceil(true / 0.5) * 0.5
    exact = model_of(alike(true, [WORN] * 400)).basis(0)
    dated = model_of(alike(found, [WORN] * 400)).basis(0)
    between = model_of(alike(found, [WORN] * 400, since=found - 0.5)).basis(0)

    assert dated.life_p50[0] > 1.15 * exact.life_p50[0]
    for name in ("life_p10", "life_p50", "life_p90"):
        assert getattr(between, name)[0] == pytest.approx(getattr(exact, name)[0], rel=0.06)


def test_an_edge_that_broke_unseen_was_good_only_until_it_was_last_seen():
    late = model_of(alike([2.5] * 6, [BROKEN] * 6))
    early = model_of(alike([2.5] * 6, [BROKEN] * 6, since=[0.5] * 6))

    assert early.basis(0).life_p50[0] < late.basis(0).life_p50[0]


def test_records_of_edges_turned_without_telling_hardly_move_the_law():
    clean = drawn(40, shape=4.5, seed=7)
    ends = [WORN] * 40
    silent = [*clean, 1.9, 2.1]
    without = model_of(alike(clean, ends)).basis(0)
    with_them = model_of(alike(silent, [*ends, CENSORED, WORN])).basis(0)

    assert with_them.life_p50[0] == pytest.approx(without.life_p50[0], rel=0.04)
    # two such records in 42 may as well be the tail of a lognormal law
    assert with_them.life_p90[0] == pytest.approx(without.life_p90[0], rel=0.18)


def test_an_edge_of_a_bad_box_is_expected_to_last_less_than_one_of_a_new_box():
    rng = np.random.default_rng(2)
    lots = np.repeat(np.arange(6), 40)
    effect = np.where(lots == 0, -0.5, rng.normal(0, 0.1, 6)[lots])
    ages = rng.weibull(4, len(lots)) * np.exp(effect)
    model = model_of(alike(ages, [WORN] * len(lots), lot=lots))

    bad, other, new = model.remaining(0, 0.0, WPP, 0.5, signs=edge_signs([0, 3, 99]))[:, 0]

    assert bad < 0.85 * new
    assert other == pytest.approx(new, rel=0.25)


def test_forty_lives_of_one_box_are_worth_less_than_of_many():
    ages = np.tile(drawn(10, seed=1), 4)

    def width(lots):
        basis = model_of(alike(ages, [WORN] * 40, lot=lots)).basis(0)
        return float(np.log(basis.life_p90 / basis.life_p10)[0])

    assert width(np.zeros(40)) > width(np.arange(40))


def test_widening_spreads_a_key_about_its_median():
    lives = alike(drawn(30), [WORN] * 30)
    plain, wide = model_of(lives).basis(0), model_of(lives, widening=[2.0]).basis(0)

    assert wide.life_p50[0] == pytest.approx(plain.life_p50[0], rel=0.01)
    spread = [np.log(b.life_p90[0] / b.life_p10[0]) for b in (plain, wide)]
    assert spread[1] == pytest.approx(2 * spread[0], rel=0.02)


def test_a_widening_below_one_is_refused():
    with pytest.raises(OutsideModel, match="widening"):
        model_of(alike([1.0], [WORN]), widening=[0.9])


def test_waiting_costs_nothing_at_the_best_age_and_more_on_both_sides():
    age, _, _ = WORN_TEN.swap_age(0, 10.0, 80.0, WPP)
    ways = float(age) * np.array([[0.3, 0.7, 1.0, 1.4, 2.0]])

    cost = WORN_TEN.swap_cost([0], [0.0], ways, [10.0], [80.0], [WPP])[0]

    assert cost[2] == pytest.approx(0, abs=0.05)
    assert cost[0] > cost[1] > cost[2]
    assert cost[2] < cost[3] < cost[4]


def test_the_cost_of_waiting_agrees_with_quadrature():
    rate = float(WORN_TEN.swap_age(0, 10.0, 80.0, WPP)[1])

    def worth(ahead):
        way = np.linspace(0, ahead, 4001)
        use = integrate.simpson(WORN_TEN.survival(0, 0.4, way, WPP), x=way)
        return 70 * float(WORN_TEN.fail_probability(0, 0.4, ahead, WPP)) - rate * use

    least = min(worth(x) for x in np.linspace(0, 1.5, 61))
    for ahead in (0.0, 0.2, 0.9):
        cost = float(WORN_TEN.swap_cost(0, 0.4, ahead, 10.0, 80.0, WPP))
        assert cost == pytest.approx(worth(ahead) - least, abs=0.05)


def test_an_edge_seen_to_wear_slowly_is_kept_longer():
    seen = edge_signs(-1, [np.nan, 0.9, 0.2], 0.3, [0, LAND_SEEN, LAND_SEEN])

    plain, worn, fresh = WORN_TEN.swap_age(0, 10.0, 80.0, WPP, signs=seen)[0]

    assert 0.3 <= worn < plain < fresh


def test_a_tilted_edge_agrees_with_bayes_by_quadrature():
    seen = edge_signs(-1, 0.6, 0.5, LAND_SEEN)
    looks = WORN_TEN._wear.looks
    r, tie = looks.run_in[LAND_SEEN], looks.tie[LAND_SEEN]
    log_x = np.linspace(-4, 2.5, 20001)
    alive = WORN_TEN.survival(0, 0.0, np.exp(log_x), 1e-12)
    mass = -np.diff(alive)
    middle = (log_x[1:] + log_x[:-1]) / 2
    # The land grows from the run-in to the limit, with what it is tied to: the edge's own life
    # and its key's usual one.
    goes_with = tie * middle + (1 - tie) * looks.usual[0]
    y = np.minimum(0.5 / np.exp(goes_with), 1.25)
    share = r + (1 - r) * y
    doubt = (tie * looks.shared) ** 2 + (1 - tie) ** 2 * looks.doubt[0]
    spread = looks.growth[LAND_SEEN] * np.maximum(1 / share - 1, 0)
    sd = np.sqrt(looks.error[LAND_SEEN] ** 2 + spread**2 + doubt * ((1 - r) * y / share) ** 2)
    seen_land = np.log(0.6) - looks.level[LAND_SEEN, 0]
    mass = mass * (0.95 * stats.norm.pdf(seen_land, np.log(share), sd) + 0.05 / 3)
    beyond = middle > np.log(0.5)
    by_hand = mass[middle > np.log(0.9)].sum() / mass[beyond].sum()

    ours = float(WORN_TEN.survival(0, 0.5, 0.4, 1e-12, signs=seen))

    assert ours == pytest.approx(by_hand, abs=0.004)


def test_kinds_that_nobody_knows_are_refused():
    with pytest.raises(OutsideModel, match="kind"):
        edge_signs(-1, 0.5, 0.5, 7)
    with pytest.raises(OutsideModel, match="kind"):
        alike([1.0], [WORN], seen_kind=[4])
