"""Edges that still cut, as the shop's facts have them: told to the model, counted once."""

from __future__ import annotations

import numpy as np
import pytest

from crib.life.fitting import fit_life_model
from crib.outlook.expected_lives import ExpectedLives
from crib.outlook.lives import table_of_keys
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.outlook.to_put_right import DOUBTED_AGE
from tests.store.test_kept_forecasts import Floor


@pytest.fixture
def floor(store, shop) -> Floor:
    return Floor(store, shop.start)


def _expected(floor: Floor) -> ExpectedLives:
    with floor.store.read() as tx:
        return plan_shop(tx, floor.now).expected


def test_a_mounted_edge_is_told_to_the_model_until_it_ends(floor):
    floor.mount()
    floor.make(40)
    assert len(_expected(floor).lives.running) == 0  # a fifth of its life tells nothing yet

    floor.make(60)
    now = _expected(floor)
    assert (now.lives.running.wear.tolist(), len(now.lives.histories)) == ([0.5], 0)
    assert now.edges[0].own == 0
    assert now.lives.running.lot.tolist() == [
        now.shop.rows.assemblies[now.mounted[0].row.assembly_id].lot_id
    ]

    floor.remove("worn_early")
    after = _expected(floor)
    assert (len(after.lives.running), len(after.lives.histories)) == (0, 1)


def test_a_tool_that_lies_on_the_shelf_after_its_job_still_counts(floor):
    floor.mount()
    floor.make(100)
    floor.remove("job_change")

    assert _expected(floor).lives.running.wear.tolist() == [0.5]


def test_the_only_edge_of_a_key_is_forecast_by_its_age_alone(floor):
    floor.mount()
    floor.make(100)
    now = _expected(floor)
    edge, rate = now.edges[0], float(now.due.wear_now[0])

    bare = fit_life_model(table_of_keys(now.shop, now.lives), now.lives.histories)
    alone = bare.remaining(edge.key, edge.age, rate, (0.05, 0.1, 0.5, 0.9))
    counted = now.model.remaining(edge.key, edge.age, rate, (0.05, 0.1, 0.5, 0.9))

    assert now.due.remaining[0] == pytest.approx(alone[0], rel=5e-3)
    assert np.all(counted[0, :3] > alone[0, :3] * 1.01)


def test_an_edge_that_ran_ten_lives_is_asked_about(floor):
    mounted = floor.mount()
    floor.make(1_500)
    with floor.store.read() as tx:
        assert plan_shop(tx, floor.now).shop.to_put_right == ()
    floor.make(1_000)

    with floor.store.read() as tx:
        plan = plan_shop(tx, floor.now)

    (asked,) = plan.shop.to_put_right
    assert (asked.what, asked.machine) == (DOUBTED_AGE, "M1")
    assert str(asked.sentence) == (
        f"Was M1/T01 changed without a scan? {mounted.code} would have run 13 times its usual "
        "life. Scan the tool that is in there now, or correct the count."
    )
    assert (asked.station, asked.station_code) == ("T01", plan.forecasts[0].station_code)
    row = next(one for one in make_swap_list(plan).rows if one.forecast.station == "T01")
    for told in (plan.forecasts[0], row):
        assert told.why == DOUBTED_AGE
        assert told.why_sentence == asked.sentence
        assert told.overdue_since is None  # how far past a point that nobody believes
    assert not plan.model.running.counts.any()
