"""Looks that nobody could check yet: what corrections of a size say of lives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crib.life.looks import Looks, learn_looks
from crib.life.observations import LAND_SEEN, SIZE_SEEN, WORN, life_histories

NOTHING = life_histories([], [], [], [])
EDGES = 4_000


def corrected(scatter: float, *, until: float, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Corrections of parts out by 0.18 of the limit: their sum, and when the last came.

    The land runs in over 0.15 of the limit and grows steadily to it at age 1; a part is
    measured at each hundredth, with a scatter.
    """
    rng = np.random.default_rng(seed)
    grown, at = np.zeros(EDGES), np.full(EDGES, np.nan)
    for age in np.arange(0.01, until + 1e-9, 0.01):
        land = 0.15 + 0.85 * age
        off = land - grown + scatter * rng.standard_normal(EDGES)
        made = off > 0.18
        grown = np.where(made, grown + off, grown)
        at = np.where(made, age, at)
    seen = np.isfinite(at)
    return grown[seen], at[seen]


USUAL, SURE = np.zeros(1), np.zeros(1)
LOG_LIFE = np.linspace(-3, 3, 1201)


def life_by(looks: Looks, kind: int, share: np.ndarray, at: np.ndarray) -> float:
    """Life of the usual edge over the true one after a look, where it was thought to 30 %."""
    rows = np.zeros(len(at), dtype=np.int64)
    grid = np.tile(LOG_LIFE, (len(at), 1))
    log_f = looks.at(rows, rows + kind, share, at).of_edges(grid, looks.shared)
    log_f = log_f - 0.5 * (LOG_LIFE / 0.3) ** 2
    weight = np.exp(log_f - log_f.max(axis=1, keepdims=True))
    return float(np.exp(np.median(weight @ LOG_LIFE / weight.sum(axis=1))))


def believed(kind: int, grown: np.ndarray, at: np.ndarray) -> float:
    """The same before any edge was worn out."""
    return life_by(learn_looks(NOTHING, USUAL, SURE, np.zeros(0)), kind, grown, at)


@pytest.mark.parametrize(("scatter", "until"), [(0.06, 0.2), (0.15, 0.2), (0.15, 0.4)])
def test_corrections_run_ahead_of_the_land_and_are_read_so(
    scatter: float, until: float
) -> None:
    grown, at = corrected(scatter, until=until)

    by_sizes = believed(SIZE_SEEN, grown, at)

    assert 0.9 < by_sizes < 1.1
    # read as if they were the land itself they cry wolf
    assert believed(LAND_SEEN, grown, at) < by_sizes - 0.02


def test_worn_edges_tell_how_far_corrections_run_ahead() -> None:
    grown, at = corrected(0.02, until=0.5)  # parts that hardly scatter
    some = slice(0, 200)
    size = len(at[some])
    lives = life_histories(
        [0] * size,
        np.ones(size),
        np.full(size, 100.0),
        [WORN] * size,
        seen_share=grown[some],
        seen_at=at[some],
        seen_kind=np.full(size, SIZE_SEEN),
    )

    before = learn_looks(NOTHING, USUAL, SURE, np.zeros(0))
    after = learn_looks(lives, USUAL, SURE, np.ones(size))

    assert after.run_in[SIZE_SEEN] < before.run_in[SIZE_SEEN] - 0.05
    assert after.run_in[LAND_SEEN] == before.run_in[LAND_SEEN]
    assert life_by(after, SIZE_SEEN, grown[some], at[some]) == pytest.approx(1, abs=0.1)


def worn_lives(tie: float, edges: int = 600, noise: float = 0.08, seed: int = 2):
    """Edges out of a key whose usual life is 1, looked at in mid-life and at their end.

    The land grows from 0.15 of its limit to the limit at the age that it is tied to: the edge's
    own life, the usual one, or one between.
    """
    rng = np.random.default_rng(seed)
    life = np.exp(0.3 * rng.standard_normal(edges))
    at = life * rng.choice([0.5, 0.7, 1.0], edges)
    land = 0.15 + 0.85 * at / life**tie
    return life_histories(
        [0] * edges, life, [100] * edges, [WORN] * edges,
        seen_share=land * np.exp(noise * rng.standard_normal(edges)),
        seen_at=at, seen_kind=[LAND_SEEN] * edges,
    )  # fmt: skip


@pytest.mark.parametrize("tie", [0.0, 0.4, 1.0])
def test_worn_edges_tell_how_far_a_land_goes_with_the_edges_own_life(tie):
    found = learn_looks(worn_lives(tie), USUAL, SURE, np.ones(600))

    assert found.tie[LAND_SEEN] == pytest.approx(tie, abs=0.08)
    assert found.level[LAND_SEEN, 0] == pytest.approx(0, abs=0.03)
    assert found.error[LAND_SEEN] == pytest.approx(0.08, abs=0.02)


def test_a_land_that_goes_with_nothing_of_the_edge_says_nothing_of_its_life():
    untied = learn_looks(worn_lives(0.0), USUAL, SURE, np.ones(600))
    tied = learn_looks(worn_lives(1.0), USUAL, SURE, np.ones(600))
    share, at = np.full(1, 0.8), np.full(1, 0.4)

    assert life_by(untied, LAND_SEEN, share, at) == pytest.approx(1, abs=0.12)
    assert life_by(tied, LAND_SEEN, share, at) < 0.7


def test_a_land_that_ran_away_unnoticed_raises_no_level():
    lives = worn_lives(1.0)
    ran = np.where(lives.seen_share > 1, lives.seen_share * 2, lives.seen_share)
    far = replace(lives, seen_share=ran)

    plain, away = (learn_looks(one, USUAL, SURE, np.ones(600)) for one in (lives, far))

    assert away.level == pytest.approx(plain.level, abs=1e-6)


def test_edges_that_were_not_worn_teach_no_look():
    lives, half = worn_lives(1.0), np.repeat([1.0, 0.0], 300)
    # the second half were good edges, called worn at a tenth of a land
    wrong = replace(lives, seen_share=np.where(half > 0, lives.seen_share, 0.1))

    told = learn_looks(wrong, USUAL, SURE, half)

    assert told.level[LAND_SEEN, 0] == pytest.approx(0, abs=0.03)


def test_a_small_land_early_on_bounds_life_from_below_and_says_no_more():
    looks = learn_looks(NOTHING, USUAL, SURE, np.zeros(0))
    zero = np.zeros(1, dtype=np.int64)
    seen = looks.at(zero, zero + LAND_SEEN, np.full(1, 0.2), np.full(1, 0.1))

    short, usual, long = seen.of_edges(np.log([[0.11, 1.0, 3.0]]), looks.shared)[0]

    assert usual > short + 1
    assert long == pytest.approx(usual, abs=0.7)
