"""What a forecast stands on: since when lives count, and which boxes differ. Lives invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from crib.clock import us_from_instant
from crib.life.fitting import fit_life_model
from crib.life.observations import WORN, life_histories
from crib.life.pooling import key_table
from crib.views.stands_on import StandsOn, stands_on

START = datetime(2026, 3, 2, tzinfo=UTC)


def plan_of(ages: Any, lot: Any = None) -> Any:
    """A plan of one key, whose lives ended a day apart; boxes 1 to 3 are on record."""
    ages = np.asarray(ages, dtype=float)
    histories = life_histories(0 * ages, ages, 100 * ages, WORN + 0 * ages, lot=lot)
    model = fit_life_model(key_table([0], [0], [0]), histories)
    days = [us_from_instant(START + timedelta(days=row)) for row in range(len(ages))]
    ended = [SimpleNamespace(row=SimpleNamespace(end_us=day)) for day in days]
    lots = [SimpleNamespace(id=number, lot=f"LOT-{number}") for number in (1, 2, 3)]
    return SimpleNamespace(
        histories=histories,
        model=model,
        expected=SimpleNamespace(lives=SimpleNamespace(ended=ended)),
        shop=SimpleNamespace(rows=SimpleNamespace(lots=lots)),
    )


def drawn(number: int, seed: int = 1) -> Any:
    return np.random.default_rng(seed).weibull(4.0, number)


def found(plan: Any) -> StandsOn:
    return stands_on(plan, 0, 0.01)


def test_without_a_change_every_life_counts() -> None:
    assert found(plan_of(drawn(40))) == StandsOn(None, 40, ())
    assert found(plan_of([])) == StandsOn(None, 0, ())


def test_a_change_is_told_with_its_day_and_the_lives_since() -> None:
    told = found(plan_of(np.r_[drawn(40), 0.4 * drawn(30, seed=2)]))

    assert told.since is not None
    day = (told.since - START).days
    assert day == pytest.approx(40, abs=3)
    assert told.lives_since == 70 - day


def test_a_box_that_lasts_shorter_is_told_and_others_are_not() -> None:
    lot = np.tile([1, 2], 30)
    ages = drawn(60) * np.where(lot == 2, 0.6, 1.0)

    told = found(plan_of(ages, lot))

    (short,) = [one for one in told.boxes if one.life_factor < 1]
    assert short.lot == "LOT-2"
    # a new box lies between both
    factor = {one.lot: one.life_factor for one in told.boxes}
    assert factor["LOT-2"] / factor.get("LOT-1", 1.0) == pytest.approx(0.6, abs=0.12)


def test_boxes_that_hardly_differ_or_are_not_on_record_are_not_told() -> None:
    assert found(plan_of(drawn(60), np.tile([1, 2], 30))).boxes == ()
    lot = np.tile([1, 9], 30)
    ages = drawn(60) * np.where(lot == 9, 0.6, 1.0)
    assert "LOT-9" not in {one.lot for one in found(plan_of(ages, lot)).boxes}
