"""A plan looks for other swaps where one cannot be made before the night."""

from __future__ import annotations

from datetime import timedelta

import pytest

from crib.outlook import before_nights
from crib.outlook.before_nights import can_be_made_before
from crib.outlook.plan_cache import PlanCache
from crib.outlook.shop_plan import plan_shop
from crib.views import night_view
from crib.views.night_view import tonight
from tests.demos import PRESENT

AFTERNOON = PRESENT - timedelta(hours=16)


@pytest.fixture
def store(demos, tmp_path):
    own = demos.copy(tmp_path).store
    yield own
    own.close()


def night_of(plan, machine):
    (found,) = tonight(plan, machine)
    return found


def test_others_are_looked_for_beside_a_swap_whose_sister_comes_too_late(store, monkeypatch):
    cache = PlanCache(store)
    asked = night_of(cache.plan(AFTERNOON), "L4")
    assert asked.decision.kind == "swap"
    lacking = asked.swaps[0].forecast.station_id

    def too_late(row, begin_at, minutes):
        late = row.forecast.station_id == lacking
        return not late and can_be_made_before(row, begin_at, minutes)

    for module in (before_nights, night_view):
        monkeypatch.setattr(module, "can_be_made_before", too_late)
    with store.read() as tx:
        once = night_of(plan_shop(tx, AFTERNOON), "L4")
    for plan in (PlanCache(store).plan(AFTERNOON), PlanCache(store).as_of(AFTERNOON)):
        again = night_of(plan, "L4")
        rows = {one.forecast.station_id for one in (*again.swaps, *again.also_due)}

        assert once.decision.kind == "until"
        assert once.decision.missing == (lacking,)
        assert lacking in rows
        assert lacking not in {one.forecast.station_id for one in again.swaps}
        assert {*again.night.added} > {*once.night.added}
        assert again.chosen.option.parts > once.chosen.option.parts


def test_a_night_that_cannot_be_looked_at_takes_no_plan_down(store, monkeypatch):
    def fails(plan, night):
        raise ValueError(night.machine)

    monkeypatch.setattr(before_nights, "due_before", fails)

    assert PlanCache(store).plan(AFTERNOON).nights
