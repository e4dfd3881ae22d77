"""What is ordered, how much of it, and by when."""

import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import OutsideModel
from crib.planning.order_quantity import (
    order_quantity,
    poisson_cover,
    reorder_point,
)
from crib.planning.reorder import DailyDemand, StockItem, daily_demand, reorder_list

NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)


def _item(edges_left, mean=2.0, deviation=0.0, **more):
    return StockItem("item", edges_left, DailyDemand(mean, deviation), **more)


def _row(item, **more):
    (row,) = reorder_list([item], NOW, **more)
    return row


def test_what_lasts_beyond_the_reorder_point_is_not_listed():
    # 2 a day for 7 days: the reorder point is 14.
    assert reorder_list([_item(15)], NOW) == []
    assert _row(_item(14)).reorder_point == 14


def test_what_has_to_be_ordered_soon_is_listed_ahead():
    row = _row(_item(20), ahead_days=3)

    assert row.order_by_at == NOW + timedelta(days=3)
    assert reorder_list([_item(20)], NOW, ahead_days=2.9) == []


def test_an_order_fills_up_in_whole_packs_of_pieces_with_their_edges():
    # 14 to the point, 28 for two weeks, less 4 left: 38 edges, 10 pieces, 4 packs of 3.
    row = _row(_item(4, edges_per_piece=4, pack_size=3, price_minor=650))

    assert (row.packs, row.pieces, row.cost_minor) == (4, 12, 7800)
    assert row.runs_out_at == NOW + timedelta(days=2)
    assert row.before_delivery


def test_what_is_on_its_way_counts():
    assert reorder_list([_item(4, edges_per_piece=4, pieces_on_order=3)], NOW) == []
    assert _row(_item(4, edges_per_piece=4, pieces_on_order=2)).pieces == 8


def test_the_spread_of_demand_raises_the_reorder_point():
    row = _row(_item(10, deviation=1.0), service_level=0.975)

    assert row.safety_stock == pytest.approx(1.959964 * math.sqrt(7), rel=1e-6)
    assert row.reorder_point == pytest.approx(14 + row.safety_stock)


def test_the_stock_that_shall_never_be_undercut_is_in_pieces():
    idle = _item(7, mean=0.0, edges_per_piece=4, min_stock=2)

    row = _row(idle)

    assert (row.reorder_point, row.pieces, row.runs_out_at) == (8, 1, None)
    assert not row.before_delivery
    assert reorder_list([_item(8, mean=0.0, edges_per_piece=4, min_stock=2)], NOW) == []


def test_nothing_left_and_nothing_wanted_orders_nothing():
    assert reorder_list([_item(0, mean=0.0)], NOW) == []


def test_what_runs_out_first_stands_on_top():
    items = [
        StockItem(name, left, DailyDemand(1, 0))
        for name, left in [("b", 5), ("a", 5), ("c", 1), ("d", 7)]
    ]

    assert [row.cutting_item for row in reorder_list(items, NOW)] == ["c", "a", "b", "d"]


def test_an_item_with_its_own_delivery_time_uses_it():
    assert _row(_item(50, lead_days=30.0)).reorder_point == 60


@given(
    st.integers(0, 200),
    st.floats(0.01, 30),
    st.floats(0, 10),
    st.integers(1, 8),
    st.integers(1, 20),
)
def test_after_an_order_the_stock_lasts_and_one_pack_less_would_not(
    edges_left, mean, deviation, edges_per_piece, pack_size
):
    item = _item(
        edges_left, mean, deviation, edges_per_piece=edges_per_piece, pack_size=pack_size
    )

    for row in reorder_list([item], NOW, cover_days=10):
        target = row.reorder_point + 10 * mean
        assert edges_left + row.pieces * edges_per_piece >= target * (1 - 1e-12)
        assert edges_left + (row.pieces - pack_size) * edges_per_piece < target


def test_daily_demand_counts_quiet_days_and_drops_what_lies_outside():
    demand = daily_demand([0.1, 0.9, 2.5, -0.1, 4.0], [1, 2, 5, 100, 100], 4)

    assert demand.mean_per_day == 2
    assert demand.deviation_per_day == pytest.approx(math.sqrt((1 + 4 + 9 + 4) / 3))


def test_one_day_alone_has_the_spread_of_single_demands():
    assert daily_demand([0.5], [9], 1) == DailyDemand(9, 3)
    assert daily_demand([], [], 5) == DailyDemand(0, 0)


@given(st.floats(0, 1e4), st.floats(0.001, 0.999))
def test_poisson_cover_is_the_fewest_that_will_do(mean, service_level):
    from scipy.special import pdtr

    pieces = poisson_cover(mean, service_level)

    assert pdtr(pieces, mean) >= service_level
    assert pieces == 0 or pdtr(pieces - 1, mean) < service_level


@given(st.floats(1, 1e6), st.floats(1, 1e4), st.floats(0.01, 1e3), st.floats(0.1, 10))
def test_no_other_order_quantity_is_cheaper(demand, order_cost, holding_cost, factor):
    best = order_quantity(demand, order_cost, holding_cost)

    other = best.quantity * factor
    cost = demand / other * order_cost + other / 2 * holding_cost
    assert cost >= best.cost * (1 - 1e-12)


def test_no_demand_needs_no_order():
    assert order_quantity(0, 10, 1).orders == 0
    assert poisson_cover(0, 0.99) == 0


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: reorder_point(-1, 1, 1), "mean_per_day"),
        (lambda: reorder_point(1, math.inf, 1), "deviation_per_day"),
        (lambda: reorder_point(1, 1, math.nan), "lead_days"),
        (lambda: reorder_point(1, 1, 1, 1.0), "service_level"),
        (lambda: reorder_point(1, 1, 1, 95), "service_level"),
        (lambda: reorder_point(1, 1, 1, math.nan), "service_level"),
        (lambda: order_quantity(1, 1, 0), "holding_cost"),
        (lambda: order_quantity(1e12, 1e12, 1e-300), "holding_cost"),
        (lambda: order_quantity(1, -1, 1), "order_cost"),
        (lambda: poisson_cover(1e7, 0.9), "mean"),
        (lambda: poisson_cover(1, 0), "service_level"),
        (lambda: daily_demand([], [], 0), "days"),
        (lambda: reorder_list([], NOW, cover_days=-1), "cover_days"),
    ],
)
def test_a_figure_out_of_range_is_named(call, field):
    with pytest.raises(OutsideModel) as refused:
        call()

    assert refused.value.errors[0]["field"] == field


@pytest.mark.parametrize("field", ["demand", "order_cost", "holding_cost"])
def test_an_order_quantity_takes_no_negative_figure(field):
    figures = {"demand": 100.0, "order_cost": 10.0, "holding_cost": 1.0}
    with pytest.raises(OutsideModel):
        order_quantity(**(figures | {field: -1.0}))
