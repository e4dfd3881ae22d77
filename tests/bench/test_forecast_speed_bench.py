"""Speed of the life model: a million edges in one call, a refit, one removal folded in."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest

from crib.life.fitting import fit_life_model
from crib.life.model import LifeModel
from crib.life.observations import LifeHistories, life_histories
from crib.life.pooling import KeyTable, key_table
from crib.life.signs import edge_signs

EDGES = 1_000_000
KEYS = 10_000
LIVES_PER_KEY = 50


def _best(work: Callable[[], object], times: int = 3) -> float:
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def _peak_mb(work: Callable[[], object]) -> float:
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1] / 1e6
    finally:
        tracemalloc.stop()


def _table(rng: np.random.Generator) -> KeyTable:
    item = rng.integers(0, 2_500, KEYS)
    return key_table(item, item % 8, rng.integers(0, 8, KEYS), rng.integers(0, 6, KEYS))


def _lives(rng: np.random.Generator, per_key: int) -> LifeHistories:
    key = rng.permutation(np.repeat(np.arange(KEYS), per_key))
    wear = np.exp(0.3 * rng.standard_normal(KEYS)[key] + 0.3 * rng.standard_normal(len(key)))
    ended = rng.choice([0, 1, 2], len(key), p=[0.45, 0.52, 0.03])
    return life_histories(key, wear, np.rint(500 * wear), ended)


@pytest.fixture(scope="module")
def fitted() -> tuple[KeyTable, LifeHistories, LifeModel]:
    rng = np.random.default_rng(7)
    table = _table(rng)
    lives = _lives(rng, LIVES_PER_KEY)
    return table, lives, fit_life_model(table, lives)


@pytest.mark.bench
def test_a_million_mounted_edges_in_one_call(
    fitted: tuple[KeyTable, LifeHistories, LifeModel], capsys: pytest.CaptureFixture[str]
) -> None:
    model = fitted[2]
    rng = np.random.default_rng(8)
    key = rng.integers(0, KEYS, EDGES)
    age, ahead = rng.uniform(0, 1, EDGES), rng.uniform(0.01, 0.3, EDGES)
    rate = np.full(EDGES, 0.002)

    def bare() -> float:
        # One pass over the same arrays with a law's two powers and an exponential.
        scale = 1.0 + key * 1e-6
        chance = np.exp((age / scale) ** 3 - ((age + ahead) / scale) ** 3 - rate * ahead)
        return float(chance.sum())

    def survive() -> float:
        return float(model.survival(key, age, ahead, rate).sum())

    # Every tenth edge was looked at and so has a curve of its own.
    looked = rng.random(EDGES) < 0.1
    share = np.where(looked, 0.2 + 0.5 * age, np.nan)
    signs = edge_signs(-1, share, np.where(looked, age, np.nan), np.where(looked, 2, 0))

    def survive_looked() -> float:
        return float(model.survival(key, age, ahead, rate, signs).sum())

    def left() -> float:
        return float(model.remaining(key, age, rate).sum())

    assert np.isfinite(bare())
    ceiling = _best(bare)
    rows = {
        "chance to live on": survive,
        "the same, a tenth of them looked at": survive_looked,
        "four quantiles of the life left": left,
    }
    with capsys.disabled():
        print(f"\na million edges, bare numpy pass: {ceiling:.3f} s")
        for name, work in rows.items():
            assert np.isfinite(work())
            seconds = _best(work, 2)
            print(
                f"a million edges, {name}: {seconds:.2f} s, {seconds / ceiling:.1f} of the "
                f"bare pass, peak {_peak_mb(work):.0f} MB"
            )


@pytest.mark.bench
def test_refit_of_10000_keys_of_50_lives(
    fitted: tuple[KeyTable, LifeHistories, LifeModel], capsys: pytest.CaptureFixture[str]
) -> None:
    table, lives, _ = fitted

    def bare() -> Callable[[], float]:
        wear, key = lives.wear, lives.key_index

        def sums() -> float:
            # The least that any refit has to do: sums of powers by key, for one shape.
            return float(np.bincount(key, wear**3, minlength=KEYS).sum())

        return sums

    ceiling = _best(bare())
    seconds = _best(lambda: fit_life_model(table, lives), 2)
    peak = _peak_mb(lambda: fit_life_model(table, lives))
    with capsys.disabled():
        print(
            f"\nrefit of {KEYS:,} keys of {LIVES_PER_KEY} lives: {seconds:.2f} s, "
            f"{seconds / ceiling:.0f} of one sum of powers ({ceiling * 1000:.0f} ms), "
            f"peak {peak:.0f} MB"
        )


@pytest.mark.bench
def test_one_removal_folded_in(capsys: pytest.CaptureFixture[str]) -> None:
    """A shop of 300 keys gets one life more, after 6,000 and after 60,000."""
    rng = np.random.default_rng(9)
    keys = 300
    item = rng.integers(0, 75, keys)
    table = key_table(item, item % 6, rng.integers(0, 6, keys), rng.integers(0, 5, keys))
    level = np.exp(0.3 * rng.standard_normal(keys))
    for lives in (6_000, 60_000):
        key = rng.integers(0, keys, lives + 1)
        wear = level[key] * np.exp(0.3 * rng.standard_normal(lives + 1))
        ended = rng.choice([0, 1, 2], lives + 1, p=[0.45, 0.52, 0.03])
        every = life_histories(key, wear, np.rint(500 * wear), ended)
        last = np.arange(lives + 1) == lives
        before = fit_life_model(table, every.take(~last))
        one = every.take(last)
        added = _best(lambda: before.after(one), 20)  # noqa: B023
        checked = _best(lambda: fit_life_model(table, every, before=before))  # noqa: B023
        anew = _best(lambda: fit_life_model(table, every))  # noqa: B023
        swap = before.after(one).swap_age(np.arange(keys), 1.0, 8.0, 0.002)[0]
        assert np.all(np.isfinite(swap))
        with capsys.disabled():
            print(
                f"\none removal after {lives:,} lives of {keys} keys: {added * 1000:.2f} ms, "
                f"with all lives compared first {checked * 1000:.1f} ms, anew "
                f"{anew * 1000:.0f} ms, {added / anew:.4f} of that"
            )
