"""Chances kept before nights, and what came of them, scale those of the nights ahead."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

from crib.outlook.shop_plan import ShopPlan, plan_shop
from tests.store.test_kept_forecasts import CYCLE, Floor


@pytest.fixture
def floor(store, shop) -> Floor:
    return Floor(store, shop.start)


def _plan(floor: Floor) -> ShopPlan:
    with floor.store.read() as tx:
        return plan_shop(tx, floor.now)


def _through_a_night(floor: Floor, *, failed: bool) -> float:
    """Live through the first night with an edge well used; gives its chance as kept."""
    floor.mount()
    floor.make(100)
    night = floor.start.replace(hour=21)
    floor.rest(night - timedelta(minutes=10) - CYCLE * 10)
    floor.make(10)  # a machine that stands until the night begins is not expected to run in it
    floor.show()
    kept = floor.kept()[-1].fails_unattended
    assert kept is not None
    floor.make(100)
    floor.rest(night + timedelta(hours=8, minutes=20))
    if failed:
        floor.remove("broken")
    return kept


def test_before_any_night_nothing_is_scaled(floor):
    floor.mount()
    floor.make(50)
    floor.show()

    assert _plan(floor).expected.night_scale == 1.0


@pytest.mark.parametrize("failed", [False, True])
def test_a_night_that_is_over_counts_by_the_chance_that_was_kept_before_it(floor, failed):
    chance = _through_a_night(floor, failed=failed)

    scale = _plan(floor).expected.night_scale

    assert chance > 0
    hazard = -math.log1p(-chance)
    if failed:  # the mean under c e^(-2c) (1 - e^(-c H)), by hand
        one, other = 2.0, 2.0 + hazard
        mean = 2 * (one**-3 - other**-3) / (one**-2 - other**-2)
    else:
        mean = 2 / (2 + hazard)
    assert scale == pytest.approx(mean)


def test_a_night_in_which_the_machine_stood_says_nothing(floor):
    floor.mount()
    floor.make(100)
    night = floor.start.replace(hour=21)
    floor.rest(night - timedelta(minutes=10) - CYCLE * 10)
    floor.make(10)
    floor.show()
    assert floor.kept()[-1].fails_unattended > 0
    floor.rest(night)
    floor.rest(night + timedelta(hours=8, minutes=20))

    assert [end.ran for _, end in floor.judged()] == [0.0]
    assert _plan(floor).expected.night_scale == 1.0
    assert floor.scores().scores[0].unattended.trials == 0


def test_a_night_cut_short_is_known_by_the_parts_that_were_made(floor):
    floor.mount()
    night = floor.start.replace(hour=21)
    floor.make(1_100)  # it cuts nearly all of the time until then
    floor.rest(night)
    floor.show()
    floor.make(160)  # two hours of eight
    floor.rest(night + timedelta(hours=8))
    floor.rest(night + timedelta(hours=8, minutes=20))

    assert 0.2 < floor.judged()[-1][1].ran < 0.35  # its pace is not known exactly


def test_the_nights_ahead_say_which_factor_they_stand_under(floor):
    _through_a_night(floor, failed=False)

    plan = _plan(floor)

    scale = plan.expected.night_scale
    assert {night.scale for night in plan.nights} == {scale}
    assert scale < 1
    shown = plan.forecasts[0].fail_probability_unattended
    own = float(plan.expected.due.fail_dark[0])
    assert shown == pytest.approx(1 - (1 - own) ** scale)


def test_what_is_kept_of_an_edge_stands_under_no_factor(floor):
    """Otherwise the factor would learn from itself."""
    _through_a_night(floor, failed=False)
    plan = _plan(floor)
    floor.show()

    kept = floor.kept()[-1]
    assert kept.fails_unattended == pytest.approx(float(plan.expected.due.fail_dark[0]))
    assert plan.expected.night_scale < 1
    assert kept.night_scale == plan.expected.night_scale


def test_a_night_shown_under_a_factor_counts_by_the_chance_without_it(floor):
    _through_a_night(floor, failed=False)
    night = floor.start.replace(hour=21) + timedelta(days=1)
    floor.rest(night - timedelta(minutes=10) - CYCLE * 10)
    floor.make(10)
    floor.show()
    floor.make(100)
    floor.rest(night + timedelta(hours=8, minutes=20))
    last = {row.unattended_begins_us: row for row in floor.kept()}
    assert [row.night_scale < 1 for row in last.values()] == [False, True]

    hazard = -sum(math.log1p(-row.fails_unattended) for row in last.values())

    assert _plan(floor).expected.night_scale == pytest.approx(2 / (2 + hazard))
