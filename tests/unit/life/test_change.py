"""Whether lives changed: the odds by another route, what is found, and what is not made up."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma

from crib.life.change import log_odds, rows_by
from crib.life.fitting import fit_life_model
from crib.life.observations import CENSORED, WORN, life_histories
from crib.life.pooling import key_table

SHAPE = 4.0


def _shop(ages, ended=None, *, item=(0,), lot=None, key=None):
    """Lives in the order in which they ended, of one key or of some keys in turn."""
    many, ages = len(item), np.asarray(ages, dtype=float).ravel()
    of_key = np.arange(len(ages)) % many if key is None else key
    ends = np.full(len(ages), WORN) if ended is None else ended
    histories = life_histories(of_key, ages, ages * 100, ends, lot=lot)
    return fit_life_model(key_table(item, [0] * many, [0] * many), histories)


def _drawn(seed, *parts):
    """Ages of so many lives of each scale, one part after another."""
    rng = np.random.default_rng(seed)
    return np.concatenate([rng.weibull(SHAPE, many) * scale for many, scale in parts])


def _median(model, key=0):
    return float(model.basis(key).life_p50[0])


HALF = 0.5 * np.log(2) ** (1 / SHAPE)


def test_the_odds_are_those_of_the_integrals_over_the_rates():
    ends = np.array([1.0, 0.0, 0.7, 1.0, 1.0, 0.0, 1.0])
    cut = np.array([2.0, 0.4, 1.3, 0.1, 0.2, 0.05, 0.3])
    group, prior = np.array([0, 0, 0, 0, 0, 1, 1]), np.array([0.6] * 5 + [2.0] * 2)
    rows = rows_by(group)

    found, _ = log_odds(rows, ends, cut, prior)

    def weight(some, made, shape):
        def of_rate(rate):
            return rate**some * np.exp(-rate * made) * gamma.pdf(rate, shape, scale=1 / shape)

        return np.log(quad(of_rate, 0, np.inf, limit=200)[0])

    for place in range(len(ends)):
        mine = group == group[place]
        made = cut * (ends[mine].sum() + 1) / (cut[mine].sum() + 1)
        before, since = mine & (np.arange(7) <= place), mine & (np.arange(7) > place)
        parts = [weight(ends[p].sum(), made[p].sum(), prior[place]) for p in (before, since)]
        whole = weight(ends[mine].sum(), made[mine].sum(), prior[place])
        assert found[place] == pytest.approx(sum(parts) - whole, abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_ten_lives_after_a_change_to_half_the_life_the_forecast_has_followed(seed):
    changed = _shop(_drawn(seed, (30, 1.0), (10, 0.5)))

    assert _median(changed) == pytest.approx(HALF, rel=0.25)


def test_a_change_to_longer_lives_is_followed_too():
    medians = [_median(_shop(_drawn(seed, (30, 1.0), (12, 1.8)))) for seed in range(6)]

    assert np.median(medians) == pytest.approx(3.6 * HALF, rel=0.2)


def test_all_keys_of_an_item_tell_of_its_change():
    def off(item):
        medians = []
        for seed in range(6):
            long, short = _drawn(seed, (80, 1.0)), _drawn(seed + 50, (12, 0.5))
            medians.append(_median(_shop([*long, *short], item=item)))
        return np.median(medians) / HALF - 1

    assert off([0, 0, 0, 0]) < 0.5 * off([0, 1, 2, 3])


def test_lives_that_did_not_change_are_not_thrown_away():
    """Few doubts in most shops, and in no shop that most of the lives are gone."""
    still = [_shop(_drawn(seed, (40, 1.0))).counts_still() for seed in range(40)]

    means = np.sort([one.mean() for one in still])
    assert np.median(means) > 0.9
    assert np.count_nonzero(means < 0.6) <= 2
    assert [one[-1] for one in still] == pytest.approx(np.ones(40))


def test_a_change_is_seen_where_it_was():
    still = _shop(_drawn(5, (30, 1.0), (12, 0.5))).counts_still()

    assert still[:28].max() < 0.1
    assert still[32:].min() > 0.9


def test_one_or_two_strange_records_are_no_change():
    ages = _drawn(7, (40, 1.0))
    twice = _shop([*ages, 1.9, 2.1], np.array([WORN] * 40 + [CENSORED, WORN]))
    early = _shop([*ages, 0.3])

    assert _median(twice) == pytest.approx(_median(_shop(ages)), rel=0.06)
    assert _median(early) == pytest.approx(_median(_shop(ages)), rel=0.06)


def test_a_bad_box_at_the_beginning_stays_a_bad_box():
    ages, lot = _drawn(3, (30, 0.55), (90, 1.0)), np.repeat(np.arange(12), 10)
    lot[:30] = 0
    model = _shop(ages, lot=lot)

    assert model._wear.scales.cells.still[0] < 1
    cells = model._wear.cell_curves(np.array([0, 4]))
    assert cells.centre[0] < cells.centre[1]
    assert _median(model) == pytest.approx(2 * HALF, rel=0.12)
