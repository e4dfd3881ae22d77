"""Factors that widen forecasts: found where lives scatter more, 1 where forecasts are right."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import weibull_min

from crib.errors import OutsideModel
from crib.life.fitting import fit_life_model
from crib.life.observations import life_histories
from crib.life.pooling import key_table
from crib.life.widening import _log_likelihood, shown_lives, widening

SHAPE = 3.0
LAW = weibull_min(SHAPE)
P10, P50, P90 = LAW.ppf([0.1, 0.5, 0.9])


def shown(
    rng: np.random.Generator, key: np.ndarray, spread: float | np.ndarray, cut: float = 0.4
):
    """Lives that scatter ``spread`` times as far from the median in ln life as forecast."""
    life = P50 * (rng.weibull(SHAPE, len(key)) / P50) ** spread
    until = np.where(rng.random(len(key)) < cut, rng.uniform(0.3, 1.2, len(key)), np.inf)
    ends = life <= until
    since = np.minimum(life, until)
    one = np.ones(len(key))
    return shown_lives(
        key, P10 * one, P50 * one, P90 * one, one, 0 * one, since, np.where(ends, life, np.inf)
    )


@pytest.mark.parametrize("lives", [1, 3, 10, 40])
def test_right_forecasts_are_left_alone(lives):
    factors = [
        widening(shown(np.random.default_rng(seed), np.repeat(np.arange(25), lives), 1.0), 25)
        for seed in range(20)
    ]

    assert np.mean(factors) < 1.05
    assert np.percentile(factors, 90) < 1.15


@pytest.mark.parametrize("spread", [1.5, 2.0])
def test_a_shop_whose_lives_scatter_more_is_widened_by_as_much(spread):
    rng = np.random.default_rng(2)

    factors = widening(shown(rng, np.repeat(np.arange(25), 20), spread), 25)

    assert factors == pytest.approx(np.full(25, spread), rel=0.15)


def test_one_key_that_runs_wrong_is_widened_more_than_the_others():
    rng = np.random.default_rng(3)
    key = np.repeat(np.arange(20), 25)

    factors = widening(shown(rng, key, np.where(key == 7, 2.5, 1.0)), 20)

    assert factors[7] > 1.6
    assert np.delete(factors, 7).mean() < 1.1


def test_a_key_earns_its_trust_again():
    rng = np.random.default_rng(4)
    key = np.repeat(np.arange(5), 80)
    back = np.tile(np.arange(80)[::-1], 5)

    then = widening(shown(rng, key[back >= 40], 2.5), 5)
    later = widening(shown(rng, key, np.where(back >= 40, 2.5, 1.0)), 5)

    assert then.min() > 2
    assert later.max() < 1.45


@pytest.mark.parametrize("spread", [1.0, 2.0])
def test_many_edges_side_by_side_do_not_hide_the_lives_that_ended(spread):
    rng = np.random.default_rng(9)
    begin = np.sort(rng.uniform(0, 6, 600))  # a hundred stations, six lives each
    whole = shown(rng, np.zeros(600, dtype=int), spread, cut=0.0)
    now = 6.0
    runs = begin + whole.wear > now
    since = np.where(runs, now - begin, whole.wear)
    columns = (whole.key, whole.p10, whole.p50, whole.p90, whole.widening, whole.age, since)
    told = (*columns, np.where(runs, np.inf, whole.wear))

    factor = widening(shown_lives(*told, runs), 1)[0]
    hidden = widening(shown_lives(*(column[~runs] for column in told)), 1)[0]

    assert factor == pytest.approx(spread, rel=0.12)
    assert spread > 1 or hidden > factor  # without the running ones lives look short


def test_a_key_without_lives_gets_the_shops_factor():
    rng = np.random.default_rng(5)

    factors = widening(shown(rng, np.repeat(np.arange(10), 20), 2.0), 12)

    assert factors[10] == factors[11] == pytest.approx(factors[:10].mean(), rel=0.1)


def test_nothing_shown_widens_nothing():
    assert widening(shown_lives(*([] for _ in range(8))), 3) == pytest.approx(np.ones(3))


def test_the_factor_that_was_in_force_is_undone():
    rng = np.random.default_rng(6)
    plain = shown(rng, np.repeat(np.arange(8), 15), 1.8)
    w = 1.5
    stretched = shown_lives(
        plain.key,
        P50 * (plain.p10 / P50) ** w,
        plain.p50,
        P50 * (plain.p90 / P50) ** w,
        np.full(len(plain), w),
        plain.age,
        plain.since,
        plain.wear,
    )

    assert widening(stretched, 8) == pytest.approx(widening(plain, 8), rel=1e-9)


def test_forecasts_of_worn_edges_and_lives_known_to_a_night_tell_the_same():
    rng = np.random.default_rng(7)
    key = np.repeat(np.arange(10), 60)
    exact = shown(rng, key, 2.0, cut=0.0)
    age = rng.uniform(0, 0.5, len(key))
    kept = exact.wear > age
    since = np.maximum(exact.wear - 0.15, age)
    columns = (key, exact.p10, exact.p50, exact.p90, exact.widening, age, since, exact.wear)

    factors = widening(shown_lives(*(column[kept] for column in columns)), 10)

    assert factors == pytest.approx(np.full(10, 2.0), rel=0.15)


def test_the_likelihood_is_that_of_weibulls_law():
    rng = np.random.default_rng(8)
    seen = shown(rng, np.zeros(400, dtype=int), 1.6)

    ours = _log_likelihood(seen).sum(axis=0)

    # reference: scipy; below and above the median the stretched law is Weibull's of shape k/w
    def theirs(w: float) -> float:
        law = weibull_min(SHAPE / w, scale=P50 / np.log(2) ** (w / SHAPE))
        ended = np.isfinite(seen.wear)
        return float(
            (law.logpdf(seen.since) + np.log(seen.since))[ended].sum()
            + law.logsf(seen.since)[~ended].sum()
        )

    grid = np.exp(np.linspace(-1.8, 1.8, 61))
    wide = grid > 0.6  # below, single lives are held back
    assert ours[wide] == pytest.approx([theirs(w) for w in grid[wide]], rel=1e-9)
    best = minimize_scalar(lambda w: -theirs(w), bounds=(1, 3), method="bounded").x
    assert grid[ours.argmax()] == pytest.approx(best, rel=0.05)


@given(
    st.lists(
        st.tuples(
            st.integers(0, 3),
            st.floats(1e-6, 1e6),
            st.floats(0, 1e6),
            st.sampled_from(["exact", "cut", "night"]),
        ),
        max_size=30,
    )
)
def test_any_lives_give_finite_factors_from_1_up(rows):
    key = [row[0] for row in rows]
    age = np.array([row[2] for row in rows])
    since = age + np.array([row[1] for row in rows])
    how = np.array([row[3] for row in rows])
    wear = np.where(how == "exact", since, np.where(how == "cut", np.inf, since * 1.2))
    one = np.ones(len(rows))

    factors = widening(shown_lives(key, 0.5 * one, one, 1.4 * one, one, age, since, wear), 4)

    assert np.isfinite(factors).all()
    assert (factors >= 1).all()


@pytest.mark.parametrize(
    "column",
    [
        {"p10": 1.2},
        {"p90": float("inf")},
        {"widening": 0.9},
        {"age": 0.8},
        {"wear": 0.3},
        {"since": float("nan")},
        {"key": -1},
    ],
)
def test_lives_that_contradict_themselves_are_refused(column):
    right = {
        "key": 0, "p10": 0.5, "p50": 1.0, "p90": 1.4, "widening": 1.0, "age": 0.1,
        "since": 0.7, "wear": 0.7,
    }  # fmt: skip
    shown_lives(**right)

    with pytest.raises(OutsideModel):
        shown_lives(**(right | column))


def test_a_life_of_a_key_that_is_not_counted_is_refused():
    with pytest.raises(OutsideModel):
        widening(shown_lives(3, 0.5, 1.0, 1.4, 1.0, 0.0, 0.7, 0.7), 3)


def simulated(seed: int, shape: float, sd: float, keys: int = 20, rounds: int = 21):
    """Coverage of 80 % intervals, plain and widened, and the mean factor, round by round.

    Each key lives one edge a round under a law that the model does not know; a third come out
    early, some break.
    """
    rng = np.random.default_rng(seed)
    number = np.arange(keys)
    table = key_table(number, number % 4, number % 3, number % 2, 0.0, 0.4)
    scale = np.exp(rng.normal(0, sd, keys))
    past: list[list[np.ndarray]] = [[], [], []]
    told: list[list[np.ndarray]] = [[] for _ in range(8)]
    factor, rows = np.ones(keys), []
    for _ in range(rounds):
        key, wear, ended = (np.concatenate(one) if one else np.zeros(0) for one in past)
        lives = life_histories(key, wear, 100 * wear, ended)
        bare = fit_life_model(table, lives).basis(number)
        basis = fit_life_model(table, lives, factor).basis(number)
        new = scale * rng.weibull(shape, (300, keys))
        plain = (bare.life_p10 <= new) & (new <= bare.life_p90)
        wide = (basis.life_p10 <= new) & (new <= basis.life_p90)
        rows.append((plain.mean(), wide.mean(), factor.mean()))
        life = scale * rng.weibull(shape, keys)
        early = np.where(rng.random(keys) < 0.3, scale * rng.uniform(0.3, 1, keys), np.inf)
        broken = rng.exponential(30.0, keys)
        end = np.minimum(np.minimum(life, early), broken)
        kind = np.where(end == life, 1, np.where(end == early, 0, 2))
        for column, value in zip(past, (number, end, kind), strict=True):
            column.append(value)
        seen = (
            number, basis.life_p10, basis.life_p50, basis.life_p90, factor, 0 * end, end,
            np.where(kind == 1, end, np.inf),
        )  # fmt: skip
        for column, value in zip(told, seen, strict=True):
            column.append(value)
        factor = widening(shown_lives(*(np.concatenate(one) for one in told)), keys)
    return np.array(rows)


def test_a_flatter_wider_world_is_covered_after_twenty_lives_per_key():
    plain, widened, _ = np.mean([simulated(s, 0.7, 0.7) for s in (1, 2)], axis=0)[20]

    assert plain < 0.65
    assert 0.75 <= widened <= 0.85


def test_a_world_that_the_model_describes_is_not_widened():
    rows = np.mean([simulated(s, 4.0, 0.35) for s in (3, 4)], axis=0)

    assert rows[3:, 2].max() < 1.1
    assert rows[20, 1] == pytest.approx(0.8, abs=0.04)
