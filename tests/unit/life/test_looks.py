"""Looks that nobody could check yet: what corrections of a size say of lives."""

from __future__ import annotations

import numpy as np
import pytest

from crib.life.looks import learn_looks
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


def believed(kind: int, grown: np.ndarray, at: np.ndarray) -> float:
    """Life of the usual edge over the true one after a look, where it was thought to 30 %."""
    looks = learn_looks(NOTHING, 1)
    rows = np.zeros(len(at), dtype=np.int64)
    ln_life, deviation = looks.life_seen(rows, rows + kind, grown, at)
    weight = 0.3**2 / (0.3**2 + deviation**2 + looks.shared**2)
    return float(np.exp(np.median(weight * ln_life)))


@pytest.mark.parametrize(("scatter", "until"), [(0.06, 0.2), (0.15, 0.2), (0.15, 0.4)])
def test_corrections_run_ahead_of_the_land_and_are_read_so(
    scatter: float, until: float
) -> None:
    grown, at = corrected(scatter, until=until)

    by_sizes = believed(SIZE_SEEN, grown, at)

    assert 0.9 < by_sizes < 1.1
    # read as if they were the land itself they cry wolf
    assert believed(LAND_SEEN, grown, at) < by_sizes - 0.05


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

    before, after = learn_looks(NOTHING, 1), learn_looks(lives, 1)

    assert after.run_in[SIZE_SEEN] < before.run_in[SIZE_SEEN] - 0.05
    assert after.run_in[LAND_SEEN] == before.run_in[LAND_SEEN]
    rows = np.zeros(size, dtype=np.int64)
    ln_life, _ = after.life_seen(rows, rows + SIZE_SEEN, grown[some], at[some])
    assert np.exp(np.median(ln_life)) == pytest.approx(1, abs=0.1)
