"""Keys lean on like keys."""

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.life.fitting import fit_life_model
from crib.life.forms import Plain
from crib.life.lognormal_form import LognormalForm
from crib.life.observations import WORN, life_histories
from crib.life.pooling import Hierarchy, Lives, _messages, key_table
from crib.life.weibull_form import WeibullForm

# Keys 0 and 1: one item on two materials; 2: its grade; 3: a stranger.
ITEM, GRADE, OPERATION, MATERIAL = [0, 0, 1, 2], [0, 0, 0, 1], [0, 0, 0, 1], [0, 1, 1, 2]


def lives_of(key, scale, number, seed=0):
    ages = scale * np.random.default_rng(seed).weibull(3, number)
    return [key] * number, ages, ages * 100, [WORN] * number


def leaning(*columns):
    table = key_table(ITEM, GRADE, OPERATION, MATERIAL)
    return fit_life_model(table, life_histories(*columns)).basis(np.arange(4))


def test_short_lives_of_one_key_shorten_the_forecast_of_like_keys_most():
    basis = leaning(*lives_of(0, 0.4, 40))

    same_item, same_grade, stranger = basis.prior_scale[1:]
    assert same_item < same_grade < stranger < 1


def test_a_key_does_not_lean_on_its_own_lives():
    basis = leaning(*lives_of(0, 0.4, 40))

    assert basis.prior_scale[0] == pytest.approx(1, rel=1e-6)
    assert basis.life_p50[0] == pytest.approx(0.4 * np.log(2) ** (1 / 3), rel=0.15)


def test_a_new_key_among_many_knows_better_than_the_promise():
    rng = np.random.default_rng(5)
    keys = np.repeat(np.arange(30), 20)
    ages = 1.8 * np.exp(0.1 * rng.normal(size=30))[keys] * rng.weibull(4, len(keys))
    table = key_table(np.arange(31), np.zeros(31), np.zeros(31))

    basis = fit_life_model(table, life_histories(keys, ages, ages, [WORN] * len(keys))).basis(
        30
    )

    assert basis.prior_scale[0] == pytest.approx(1.8, rel=0.1)
    width = np.log(basis.life_p90 / basis.life_p10)
    alone = fit_life_model(key_table([0], [0], [0]), life_histories([], [], [], [])).basis(0)
    assert width < 0.85 * np.log(alone.life_p90 / alone.life_p10)


def test_names_of_groups_do_not_matter():
    columns = lives_of(2, 1.5, 10)
    table = key_table([7, 7, 90, -4], [5, 5, 5, 1], [100, 100, 100, 2], [3, 9, 9, 11])

    ours = fit_life_model(table, life_histories(*columns)).basis(np.arange(4))

    assert ours.life_p50 == pytest.approx(leaning(*columns).life_p50, rel=1e-9)


def test_a_table_that_cannot_be_is_refused():
    with pytest.raises(OutsideModel, match="one label"):
        key_table([0, 1], [0], [0, 1])
    with pytest.raises(OutsideModel, match="deviation"):
        key_table([0], [0], [0], prior_sd=0)
    with pytest.raises(OutsideModel, match="deviation"):
        key_table([0], [0], [0], prior_mean=np.nan)


def test_labels_beyond_number_still_fit_in_time():
    number = 2500
    rng = np.random.default_rng(0)
    table = key_table(*(np.arange(number) for _ in range(4)))
    ages = 0.5 * rng.weibull(3, number)
    columns = (np.arange(number), ages, ages, [WORN] * number)

    hierarchy = Hierarchy(table)
    basis = fit_life_model(table, life_histories(*columns)).basis(np.arange(number))

    # All keys are strangers but for the shop, which still learns that lives are short.
    assert hierarchy._crossed == ("shop",)
    assert hierarchy.variance == pytest.approx(0.16)
    assert np.median(basis.prior_scale) == pytest.approx(0.5, rel=0.2)


def test_a_crowd_of_lone_lives_far_from_every_promise_stays_finite():
    rng = np.random.default_rng(8)
    number = 600
    table = key_table(
        rng.integers(0, 5, number), np.zeros(number), rng.integers(0, 2, number), prior_sd=0.1
    )
    ages = np.exp(rng.choice([-5.0, 4.5], number))
    columns = (np.arange(number), ages, ages, rng.integers(0, 2, number))

    model = fit_life_model(table, life_histories(*columns))

    left = model.remaining(np.arange(number), 0.5, 0.01)
    assert np.all(np.isfinite(left) & (left > 0))
    assert np.all(np.isfinite(model.basis(np.arange(number)).prior_scale))


def test_the_mixed_model_agrees_with_the_full_normal_equations():
    rng = np.random.default_rng(4)
    number = 40
    table = key_table(*(rng.integers(0, n, number) for n in (12, 4, 3, 2)), prior_sd=0.5)
    hierarchy = Hierarchy(table)
    tau, nu = rng.uniform(0, 30, number), rng.normal(0, 10, number)
    base, own = dict(hierarchy._base), hierarchy._own.copy()

    mean, variance = hierarchy._weigh(tau, nu)

    # The same by one big covariance of all keys: conditioning on all messages but a key's own.
    groups = {
        "shop": np.zeros(number),
        "grade": table.grade,
        "material": table.material,
        "grade_material": table.grade * 10 + table.material,
        "operation": table.operation,
        "item": table.item,
    }
    prior = np.diag(own) + sum(
        base[name] * (label[:, None] == label) for name, label in groups.items()
    )
    for key in (0, 7, 39):
        others = np.arange(number) != key
        precision = np.linalg.inv(prior) + np.diag(tau * others)
        posterior = np.linalg.inv(precision)
        assert variance[key] == pytest.approx(posterior[key, key], rel=1e-8)
        assert mean[key] == pytest.approx((posterior @ (nu * others))[key], rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("form", [WeibullForm(3.0), LognormalForm(0.3)], ids=repr)
def test_a_message_times_its_prior_is_the_posterior(form):
    mean, variance = np.zeros(3), np.full(3, 0.1)
    log_age = np.log([2.5, 0.9, 1.0])
    worn = np.array([1.0, 1.0, 0.0])
    plain = Plain(np.arange(3), 3, log_age, worn, np.ones(3))
    lives = Lives(form, form.plain(plain, np.zeros(3)), np.array([True] * 3))

    tau, nu = _messages(mean, variance, lives)

    after = form.after(mean, variance, lives.sums.first, lives.sums.second)
    assert np.all(tau > 0)
    assert 1 / (1 / variance + tau) == pytest.approx(after.variance)
    assert (mean / variance + nu) * after.variance == pytest.approx(after.mean)
