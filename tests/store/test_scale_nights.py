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
    assert scale == pytest.approx((2 + failed) / (2 - math.log1p(-chance)))


def test_the_nights_ahead_say_which_factor_they_stand_under(floor):
    _through_a_night(floor, failed=False)

    plan = _plan(floor)

    assert {night.scale for night in plan.nights} == {plan.expected.night_scale}
    assert plan.expected.night_scale < 1


def test_what_is_kept_of_an_edge_stands_under_no_factor(floor):
    """Otherwise the factor would learn from itself."""
    _through_a_night(floor, failed=False)
    plan = _plan(floor)
    floor.show()

    assert floor.kept()[-1].fails_unattended == pytest.approx(
        float(plan.expected.due.fail_dark[0])
    )
    assert plan.expected.night_scale < 1
