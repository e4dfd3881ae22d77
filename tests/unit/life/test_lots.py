"""Boxes against a two-level model integrated on a dense grid: ln scale of key and box."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from crib.life.conjugate import posterior_moments
from crib.life.evidence import Sums
from crib.life.forms import Plain, Terms
from crib.life.law import FORMS, SHAPES
from crib.life.lognormal_form import LognormalForm
from crib.life.lots import Cells, cell_moments, cells_of, key_sums, spread_of
from crib.life.observations import CENSORED, WORN, life_histories

GRID = np.linspace(-3.5, 3.5, 2801)
STEP = GRID[1] - GRID[0]
PRIOR = np.zeros(1), np.full(1, 0.16)


class OneKey:
    """Invented lives of one key out of boxes, and what the two-level model says of them."""

    def __init__(self, s: int, spread: float, sizes: list[int], seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.s, self.shape, self.variance = s, float(SHAPES[s]), spread**2
        truth = rng.normal(0, 0.4) + rng.normal(0, spread, len(sizes))
        ages = [
            np.exp(u) * rng.weibull(self.shape, n) for u, n in zip(truth, sizes, strict=True)
        ]
        self.worn = np.array(sizes, dtype=float)
        self.powers = np.array([float((age**self.shape).sum()) for age in ages])
        self._likelihood = -self.shape * self.worn[:, None] * GRID - self.powers[
            :, None
        ] * np.exp(np.minimum(-self.shape * GRID, 50))
        reach = np.arange(-round(6 * spread / STEP), round(6 * spread / STEP) + 1) * STEP
        self._boxes = np.exp(-0.5 * (reach / spread) ** 2)
        self._boxes /= self._boxes.sum()
        self._told = [self._spread(one) for one in self._likelihood]
        self._prior = -0.5 * GRID**2 / 0.16 - 0.5 * np.log(2 * np.pi * 0.16)

    def _spread(self, log_values):
        top = log_values.max()
        wide = np.convolve(np.exp(log_values - top), self._boxes, "same")
        return np.log(np.maximum(wide, 1e-300)) + top

    @staticmethod
    def _moments(log_values):
        top = log_values.max()
        weights = np.exp(log_values - top)
        total = weights.sum()
        mean = float(weights @ GRID / total)
        return (
            mean,
            float(weights @ (GRID - mean) ** 2 / total) ** 0.5,
            top + np.log(total * STEP),
        )

    def key(self):
        """Mean and deviation of the key's ln scale, and ln marginal likelihood."""
        return self._moments(self._prior + sum(self._told))

    def first_box(self):
        """Mean and deviation of the first box's ln scale."""
        others = self._prior + sum(self._told[1:], np.zeros_like(GRID))
        return self._moments(self._spread(others) + self._likelihood[0])[:2]

    def sums(self) -> tuple[Sums, Cells]:
        count = len(self.worn)
        tables = [np.zeros((count, len(FORMS))) for _ in range(3)]
        tables[0][:, self.s], tables[1][:, self.s] = self.worn, self.powers
        number = np.arange(count)
        key = np.zeros(count, dtype=np.int64)
        return Sums(*tables), Cells(number, key[:0], key, number + 2, count + 2, np.ones(count))

    def told(self):
        sums, cells = self.sums()
        own = key_sums(sums, cells, 1, self.s, self.variance)
        after = posterior_moments(*PRIOR, own.first, np.log(own.second), self.shape)
        evidence = float(after.log_evidence[0] + own.constant[0])
        return float(after.mean[0]), float(after.variance[0]) ** 0.5, evidence

    def told_first_box(self):
        sums, cells = self.sums()
        own = key_sums(sums, cells, 1, self.s, self.variance)
        box = Terms(self.worn[:1], self.powers[:1], np.zeros(1))
        mean, variance = cell_moments(PRIOR, box, own, FORMS[self.s], self.variance, np.ones(1))
        return float(mean[0]), float(variance[0]) ** 0.5


SIZES = [[1] * 10, [5] * 4, [20] * 2, [50], [40, 5, 1]]


@pytest.mark.parametrize("s", [2, 5, 7])
@pytest.mark.parametrize("sizes", SIZES, ids=str)
def test_a_key_leans_on_its_boxes_as_the_two_level_model_does(s, sizes):
    off, ratio, evidence = [], [], []
    for seed in range(12):
        one = OneKey(s, 0.1, sizes, seed)
        (mean, sd, log_z), (told_mean, told_sd, told_z) = one.key(), one.told()
        off.append((told_mean - mean) / sd)
        ratio.append(told_sd / sd)
        evidence.append(told_z - log_z)

    # Neither up nor down on average, and never far off.
    assert abs(np.mean(off)) < (0.3 if sizes == [1] * 10 else 0.2)
    assert np.max(np.abs(off)) < 1.1
    assert np.mean(ratio) == pytest.approx(1, abs=0.12)
    assert np.mean(evidence) == pytest.approx(0, abs=0.2)


@pytest.mark.parametrize("s", [2, 5, 7])
@pytest.mark.parametrize("sizes", SIZES, ids=str)
def test_an_edge_of_a_known_box_goes_by_it_as_the_two_level_model_does(s, sizes):
    off, ratio = [], []
    for seed in range(12):
        one = OneKey(s, 0.1, sizes, seed)
        (mean, sd), (told_mean, told_sd) = one.first_box(), one.told_first_box()
        off.append((told_mean - mean) / sd)
        ratio.append(told_sd / sd)

    assert abs(np.mean(off)) < 0.17
    assert np.mean(ratio) == pytest.approx(1, abs=0.06)


def test_a_wide_spread_of_boxes_does_not_make_lives_look_longer():
    off = []
    for seed in range(20):
        one = OneKey(7, 0.2, [50], seed)
        off.append(one.told()[0] - one.key()[0])

    assert np.mean(off) == pytest.approx(0, abs=0.03)


@pytest.mark.parametrize("lots", [[4, -1, 4, 7], [10**9, -1, 10**9, 3], [-1, -1, -1, -1]])
def test_lives_of_one_box_of_a_key_share_a_cell_and_unknown_boxes_are_one(lots):
    key = [2, 0, 2, 2]
    lives = life_histories(key, [1.0] * 4, [1] * 4, [WORN] * 4, lot=lots)

    cells = cells_of(lives, np.empty(0, dtype=np.int64))

    pairs = sorted(set(zip(key, lots, strict=True)))
    assert list(zip(cells.key.tolist(), (cells.slot >= 2).tolist(), strict=True)) == [
        (owner, lot >= 0) for owner, lot in pairs
    ]
    assert cells.of_life.tolist() == [pairs.index(pair) for pair in zip(key, lots, strict=True)]
    found = cells.find(np.array([2, 2, 0]), np.array([lots[0], 5, lots[1]]))
    assert found.tolist() == [pairs.index((2, lots[0])) if lots[0] >= 0 else -1, -1, -1]


def test_what_looks_add_shares_a_cell_and_counts_the_less_the_less_proven_looks_are():
    lives = life_histories([0] * 4, [1.0] * 4, [1] * 4, [CENSORED] * 4, lot=[1, 2, 3, 3])
    looked = np.array([0, 1])

    cells = cells_of(lives, looked, shared=0.3)

    # that they lived on stays with their boxes
    assert len(set(cells.of_life.tolist())) == 3
    assert cells.of_life[2] == cells.of_life[3]
    assert (
        cells.find(np.array([0, 0]), np.array([1, 3])).tolist()
        == cells.of_life[[0, 2]].tolist()
    )
    (look,) = set(cells.of_look.tolist())
    assert look not in cells.of_life
    spread = spread_of(cells, 0.01)
    assert (spread[look], spread[cells.of_life[0]]) == pytest.approx((0.09, 0.01))
    told, box = FORMS[3].weight(np.full(2, 4.0), spread[[look, cells.of_life[0]]])
    assert told == pytest.approx(1 / (1 + SHAPES[3] ** 2 * 4 * 0.09))
    assert box == pytest.approx(1 / (1 + SHAPES[3] ** 2 * 4 * 0.01))


def test_the_effect_of_a_box_is_taken_out_of_a_lognormal_likelihood_exactly():
    """Against the marginal of a bivariate normal (scipy)."""
    form, spread = LognormalForm(0.3), 0.2
    z = np.array([0.1, -0.2, 0.4])
    own = form.plain(Plain(np.zeros(3, dtype=np.int64), 1, z, np.ones(3), np.ones(3)), z)

    told = form.tempered(own, spread**2)

    both = np.eye(3) * 0.3**2 + spread**2
    for u in (-0.3, 0.0, 0.5):
        exact = stats.multivariate_normal.logpdf(z, np.full(3, u), both)
        made = told.constant[0] + told.second[0] * u - 0.5 * told.first[0] * u**2
        assert made == pytest.approx(exact, abs=1e-9)
