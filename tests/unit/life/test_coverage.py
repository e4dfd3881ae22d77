"""On an invented shop whose truth is known, intervals cover and swap points pay.

The shop is not of the model's own family: the shape differs between operations and keys, lots
differ, and the world draws its effects with other spreads than the model's starting ones.
"""

import numpy as np
import pytest

from crib.life.fitting import fit_life_model
from crib.life.observations import life_histories
from crib.life.pooling import key_table

KEYS, ITEMS, GRADES, MATERIALS, OPERATIONS = 300, 90, 6, 4, 5
WEAR_PER_PART, PLANNED, FAILURE = 0.005, 10.0, 60.0


class InventedShop:
    """Hidden truth of 300 keys."""

    def __init__(self, seed, spread=1.0, break_per_life=0.03):
        rng = self.rng = np.random.default_rng(seed)
        item = rng.integers(0, ITEMS, KEYS)
        grade, material = item % GRADES, rng.integers(0, MATERIALS, KEYS)
        operation = rng.integers(0, OPERATIONS, KEYS)
        effects = (
            rng.normal(0, 0.15)
            + rng.normal(0, 0.18 * spread, GRADES)[grade]
            + rng.normal(0, 0.12 * spread, (GRADES, MATERIALS))[grade, material]
            + rng.normal(0, 0.12 * spread, OPERATIONS)[operation]
            + rng.normal(0, 0.15 * spread, ITEMS)[item]
            + rng.normal(0, 0.18 * spread, KEYS)
        )
        self.table = key_table(item, grade, operation, material)
        self.scale = np.exp(effects)
        self.shape = 3.2 * np.exp(
            rng.normal(0, 0.2, OPERATIONS)[operation] + rng.normal(0, 0.12, KEYS)
        )
        self.break_rate = break_per_life

    def lives(self, key):
        """Age and ending (1 worn, 2 broken) of new edges that run until they fail."""
        lot = np.exp(self.rng.normal(0, 0.1, len(key)))
        worn = self.scale[key] * lot * self.rng.weibull(self.shape[key])
        broken = self.rng.exponential(1 / self.break_rate, len(key))
        return np.minimum(worn, broken), np.where(broken < worn, 2, 1)

    def history(self, number):
        """Histories of ``number`` edges per key, a good third of them taken out early."""
        key = np.repeat(np.arange(KEYS), number)
        age, ended = self.lives(key)
        taken = self.rng.uniform(0.4, 1.6, len(key)) * self.scale[key]
        ended = np.where(taken < age, 0, ended)
        age = np.minimum(age, taken)
        return life_histories(key, age, age / WEAR_PER_PART, ended)

    def cost(self, age):
        """True cost per wear unit of swapping at these ages, shape (keys,)."""
        x = np.linspace(0, 1, 300) * age[:, None]
        hazard = (x / self.scale[:, None]) ** self.shape[:, None] + self.break_rate * x
        alive = np.exp(-hazard)
        last = alive[:, -1]
        return (PLANNED * last + FAILURE * (1 - last)) / np.trapezoid(alive, x, axis=1)

    def oracle_cost(self):
        grid = np.geomspace(0.1, 3, 80)
        return np.min([self.cost(self.scale * g) for g in grid], axis=0)


@pytest.mark.parametrize(
    ("lives", "spread", "least", "most", "dearest"),
    [(2, 1, 0.76, 0.88, 1.08), (10, 1, 0.76, 0.86, 1.04), (40, 1, 0.76, 0.85, 1.02),
     (10, 2, 0.75, 0.87, 1.06)],
)  # fmt: skip
def test_the_80_percent_interval_covers_about_80_percent(lives, spread, least, most, dearest):
    shop = InventedShop(11, spread)
    model = fit_life_model(shop.table, shop.history(lives))
    keys = np.repeat(np.arange(KEYS), 20)

    new = model.remaining(np.arange(KEYS), 0.0, WEAR_PER_PART, (0.1, 0.9))[keys]
    aged = model.remaining(np.arange(KEYS), 0.3, WEAR_PER_PART, (0.1, 0.9))[keys]
    age, _, _ = model.swap_age(np.arange(KEYS), PLANNED, FAILURE, WEAR_PER_PART)

    truth, _ = shop.lives(keys)
    covered = np.mean((truth > new[:, 0]) & (truth < new[:, 1]))
    left = truth[truth > 0.3] - 0.3
    still = aged[truth > 0.3]
    covered_later = np.mean((left > still[:, 0]) & (left < still[:, 1]))
    assert least < covered < most
    assert least < covered_later < most
    assert np.mean(shop.cost(age) / shop.oracle_cost()) < dearest


def test_pooling_pays_where_lives_are_few():
    shop = InventedShop(3)
    histories = shop.history(1)
    alone = key_table(np.arange(KEYS), np.arange(KEYS), np.arange(KEYS), np.arange(KEYS))

    pooled_age = fit_life_model(shop.table, histories).swap_age(
        np.arange(KEYS), PLANNED, FAILURE, WEAR_PER_PART
    )[0]
    alone_age = fit_life_model(alone, histories).swap_age(
        np.arange(KEYS), PLANNED, FAILURE, WEAR_PER_PART
    )[0]

    assert np.mean(shop.cost(pooled_age)) < np.mean(shop.cost(alone_age))
