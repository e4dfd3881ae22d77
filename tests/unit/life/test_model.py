"""The life model answers every shop, from the first day to the absurd."""

import numpy as np
import pytest
from scipy import stats

from crib.errors import OutsideModel
from crib.life.fit import fit_weibull
from crib.life.fitting import fit_life_model
from crib.life.law import SHAPES
from crib.life.observations import BROKEN, CENSORED, LAND_SEEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.life.replacement import weibull_swap_point
from crib.life.weibull import quantile

AGES = np.array([0.0, 0.3, 1.0, 5.0, 1e4])


def model_of(ages=(), ended=WORN, **prior):
    ages = np.asarray(ages, dtype=float)
    ends = np.full(len(ages), ended) if np.ndim(ended) == 0 else ended
    lives = life_histories(np.zeros(len(ages)), ages, 100 * np.abs(ages), ends)
    return fit_life_model(key_table([0], [0], [0], **prior), lives)


def weibull(number, shape=3.0, seed=0):
    return np.random.default_rng(seed).weibull(shape, number)


SHOPS = {
    "nothing known": model_of(),
    "one life": model_of([0.7]),
    "all equal": model_of([0.7] * 40),
    "all taken out": model_of([0.2] * 5, CENSORED),
    "thousands taken out at one age": model_of([0.5] * 3000, CENSORED),
    "all broken": model_of([0.3] * 20, BROKEN),
    "one absurd life": model_of([*weibull(10), 1e6]),
    "no numbers": model_of([np.nan, -1, np.inf]),
    "a promise a hundred times too short": model_of(150 * weibull(10)),
    "a promise two hundred times too long": model_of(0.005 * weibull(10)),
    "a vague promise": model_of(weibull(3), prior_sd=3.0),
    "a firm promise": model_of(3 * weibull(3), prior_sd=0.01),
}


@pytest.mark.parametrize("shop", SHOPS)
def test_every_shop_gets_a_finite_answer(shop):
    model = SHOPS[shop]

    left = model.remaining(0, AGES, 0.01)
    chance = model.survival(0, AGES, 0.2, 0.01)
    swap = model.swap_age(0, 10, 60, 0.01)
    basis = model.basis(0)

    assert left.shape == (5, 4)
    assert np.all(np.isfinite(left) & (left > 0))
    assert np.all(np.diff(left, axis=1) > 0)
    assert np.all((chance >= 0) & (chance < 1))
    assert all(np.isfinite(value) and value > 0 for value in swap)
    assert 0 < basis.life_p10[0] < basis.life_p50[0] < basis.life_p90[0] < np.inf


def test_with_nothing_known_the_answer_is_the_promise_and_wide():
    basis = SHOPS["nothing known"].basis(0)

    assert 0.6 < basis.life_p50[0] < 1
    assert basis.life_p90[0] / basis.life_p10[0] > 3
    assert (basis.worn[0], basis.broken[0], basis.censored[0]) == (0, 0, 0)


@pytest.mark.parametrize("factor", [0.005, 0.25, 4.0, 150.0])
def test_ten_lives_outweigh_a_wrong_promise(factor):
    lives = weibull(10, seed=4)

    right = model_of(lives).basis(0).life_p50[0]
    wrong = model_of(factor * lives).basis(0).life_p50[0] / factor

    assert wrong == pytest.approx(right, rel=0.45)


def test_one_absurd_life_is_named_and_moves_nothing():
    clean, dirty = model_of(weibull(10)), SHOPS["one absurd life"]

    assert [a.row for a in dirty.aside] == [10]
    assert dirty.basis(0).life_p50 == pytest.approx(clean.basis(0).life_p50)


def test_many_lives_give_the_law_they_came_from():
    lives = 1.4 * weibull(400)
    model = model_of(lives)
    likely = fit_weibull(lives, np.ones(400))
    p = np.array([0.1, 0.5, 0.9])

    left = model.remaining(0, 0.0, 0.01, p)[0]
    swap = model.swap_age(0, 10, 60, 0.01)

    # 400 lives without a break leave a rate near 0.005 per life, which is little here.
    # 400 lives without a break leave a rate near 0.005 per life, which is little here.
    assert left == pytest.approx(quantile(p, likely.shape, likely.scale), rel=0.05)
    exact = weibull_swap_point(likely.shape, likely.scale, 10, 60)
    assert swap[0] == pytest.approx(exact.age, rel=0.04)
    assert swap[1] == pytest.approx(exact.cost_rate, rel=0.06)


def test_survival_agrees_with_the_mixture_by_hand():
    model = model_of(weibull(5))

    def survive(x):
        one, two = model._wear.scales.one[0], model._wear.scales.two[0]
        k = len(SHAPES)
        weibull = (1 + x**SHAPES / np.exp(two[:k])) ** -one[:k]
        lognormal = stats.norm.sf(np.log(x), one[k:], two[k:])
        wear = model._wear.weights[0] @ np.concatenate([weibull, lognormal])
        beta = model._breakage.exposure_wear(np.array([0]), np.array([0.02]))[0]
        return wear * (beta / (beta + x)) ** model._breakage.alpha[0]

    beta = model._breakage.exposure_wear(np.array([0]), np.array([0.02]))[0]
    alpha = model._breakage.alpha[0]
    by_hand = survive(0.9) / survive(0.4)
    # Breakage has no age: an edge that did not break so far is none the older for it.
    by_hand *= (beta / (beta + 0.4)) ** alpha / (beta / (beta + 0.9)) ** alpha
    by_hand *= (beta / (beta + 0.5)) ** alpha
    assert model.survival(0, 0.4, 0.5, 0.02) == pytest.approx(by_hand, rel=3e-3)


def test_wear_runs_on_wear_units_and_breakage_on_parts():
    lives = [0.9] * 10 + [0.3] * 10
    model = model_of(lives, [WORN] * 10 + [BROKEN] * 10)

    # A light part makes an edge last more parts, so more of them are left to break on.
    light, heavy = model.survival(0, 0.0, 0.3, [0.002, 0.05])

    assert light < heavy


def test_where_edges_chip_early_one_that_has_run_in_breaks_less():
    model = model_of([0.9] * 20 + [0.02] * 5, [WORN] * 20 + [BROKEN] * 5)
    breakage = model._breakage
    alpha, beta = breakage.alpha[0], breakage.exposure_wear(np.array([0]), np.array([0.01]))[0]

    new, half_young, run_in = model.break_probability(0, [0.0, 0.05, 0.1], 0.2, 0.01)

    # the first tenth of the promised life counts so many times more
    for broken, young in ((new, 0.1), (half_young, 0.05), (run_in, 0.0)):
        exposed = 0.2 + breakage.more * young
        assert broken == pytest.approx(1 - (1 + exposed / beta) ** -alpha)
    assert new > 2 * run_in
    old, at_all = model.fail_probability(0, [0.1, 0.0], 1e-3, 0.01)
    assert old < at_all


def test_taken_out_at_one_age_by_thousands_the_swap_point_only_creeps():
    age, _, share = SHOPS["thousands taken out at one age"].swap_age(0, 10, 60, 0.01)
    free = model_of([0.5] * 3000 + [2.0], [CENSORED] * 3000 + [WORN])

    assert age <= 0.5 * 4 / 3
    # thousands outlived that age; a third beyond it some may fail
    assert share < 0.05
    assert free.swap_age(0, 10, 60, 0.01)[0] > age


def test_a_few_early_job_changes_do_not_pull_the_swap_point_in():
    early = model_of([0.05] * 3, CENSORED).swap_age(0, 10, 60, 0.01)[0]

    assert early == pytest.approx(SHOPS["nothing known"].swap_age(0, 10, 60, 0.01)[0], rel=0.1)


def test_a_failure_no_dearer_than_a_swap_runs_to_the_end():
    _, _, share = SHOPS["one life"].swap_age(0, 10, 10, 0.01)

    assert share > 0.95


def test_dearer_failures_are_met_with_earlier_swaps():
    ages, rates, shares = SHOPS["one life"].swap_age(0, 10, [15, 30, 100, 1000], 0.01)

    assert np.all(np.diff(ages) < 0)
    assert np.all(np.diff(rates) > 0)
    assert np.all(np.diff(shares) < 0)


def test_the_order_of_lives_hardly_matters_where_none_of_them_changed():
    rng = np.random.default_rng(2)
    key, age = rng.integers(0, 6, 200), rng.weibull(3, 200)
    ended = rng.integers(0, 3, 200)
    table = key_table([0, 0, 1, 1, 2, 2], [0, 0, 0, 0, 1, 1], [0, 1, 0, 1, 0, 1])
    mixed = rng.permutation(200)

    one = fit_life_model(table, life_histories(key, age, 100 * age, ended))
    two = fit_life_model(
        table, life_histories(key[mixed], age[mixed], 100 * age[mixed], ended[mixed])
    )

    keys = np.arange(6)
    left = one.remaining(keys, 0.2, 0.01)
    assert left == pytest.approx(two.remaining(keys, 0.2, 0.01), rel=0.05)


def test_a_million_edges_are_cut_into_bounded_pieces(monkeypatch):
    model = SHOPS["one life"]
    whole = model.remaining(0, np.linspace(0, 2, 100), 0.01)

    monkeypatch.setattr("crib.life.asked._CHUNK", 7)

    assert np.array_equal(model.remaining(0, np.linspace(0, 2, 100), 0.01), whole)


def test_keys_ages_and_chances_that_cannot_be_are_refused():
    model = fit_life_model(key_table([0], [0], [0]), life_histories([], [], [], []))

    with pytest.raises(OutsideModel, match="does not know this key"):
        model.survival(1, 0.0, 0.1, 0.01)
    with pytest.raises(OutsideModel, match="age"):
        model.survival(0, np.nan, 0.1, 0.01)
    with pytest.raises(OutsideModel, match="wear_per_part"):
        model.survival(0, 0.0, 0.1, 0.0)
    with pytest.raises(OutsideModel, match="probability"):
        model.remaining(0, 0.0, 0.01, [0.5, 1.0])
    with pytest.raises(OutsideModel, match="failure_cost"):
        model.swap_age(0, 10, -1, 0.01)
    with pytest.raises(OutsideModel, match="key table"):
        fit_life_model(key_table([0], [0], [0]), life_histories([3], [1.0], [1.0], [1]))


def test_no_keys_and_no_edges_are_no_trouble():
    nothing = fit_life_model(key_table([], [], []), life_histories([], [], [], []))

    assert nothing.remaining([], [], []).shape == (0, 4)
    assert nothing.swap_age([], [], [], [])[0].shape == (0,)
    assert SHOPS["one life"].survival(np.zeros((2, 0), dtype=int), 0.1, 0.1, 0.1).shape == (
        2,
        0,
    )


@pytest.mark.parametrize("shape", [1.8, 2.5, 3.5, 5.0])
def test_hundreds_of_clean_lives_are_believed_whatever_their_shape(shape):
    lives = weibull(400, shape, seed=1)

    basis = model_of(lives).basis(0)

    for name, p in (("life_p10", 0.1), ("life_p50", 0.5), ("life_p90", 0.9)):
        assert getattr(basis, name)[0] == pytest.approx(np.quantile(lives, p), rel=0.06)


def test_keys_whose_edges_all_come_out_in_time_do_not_draw_each_other_away():
    """Even lives, nearly all swapped at 0.85: hardly a failure says how long they last."""
    rng = np.random.default_rng(4)
    keys, many = np.arange(24), 50
    key = np.tile(keys, many)
    usual = np.exp(rng.uniform(-1.2, 1.2, len(keys)))
    life = usual[key] * np.exp(0.04 * rng.standard_normal(len(key)))
    wear = np.where(key % 12 == 0, life, 0.85 * life)
    seen = rng.random(len(key)) < 0.3
    land = (0.12 + 0.88 * wear / life) * np.exp(0.1 * rng.standard_normal(len(key)))
    table = key_table(keys // 2, keys % 4, keys % 3, keys % 5)

    model = fit_life_model(
        table,
        life_histories(
            key,
            wear,
            wear * 100,
            np.where(key % 12 == 0, WORN, CENSORED),
            seen_share=np.where(seen, land, np.nan),
            seen_at=np.where(seen, wear, np.nan),
            seen_kind=np.where(seen, LAND_SEEN, 0),
        ),
    )

    off = np.log(model.basis(keys).life_p50 / usual)
    # Were they to learn from each other how much they differ, 1.4 and 3.0.
    assert off.mean() < 1.0
    assert off.max() < 2.0
