"""When to swap and why: cost, size, runs, the night, and the successors after it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from crib.floor.calendar import WorkCalendar
from crib.floor.week import WeekSpan
from crib.life.model import fit_life_model
from crib.life.observations import BROKEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.planning.ahead import lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead, MountedEdge, edges_due
from crib.planning.night import keep_the_night
from crib.planning.swaps import plan_stations, with_successors

MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUR = 3600.0
NIGHTS = tuple(
    span
    for day in range(7)
    for span in (WeekSpan(day, 360, 1320, True), WeekSpan(day, 1320, 1800, False))
)
DAYS_ONLY = tuple(WeekSpan(day, 0, 1440, True) for day in range(7))


@pytest.fixture(scope="module")
def model():
    rng = np.random.default_rng(7)
    lives = rng.weibull(4.0, 200)
    return fit_life_model(
        key_table([0], [0], [0]),
        life_histories(np.zeros(200), lives, lives * 1000, np.full(200, WORN)),
    )


ENDLESS = (RunAhead("bush", float("inf"), 60.0),)


def _machine(spans=NIGHTS, runs=ENDLESS):
    time = lay_out(WorkCalendar(spans, "UTC"), MONDAY, MONDAY + timedelta(days=30))
    return MachineAhead("M1", time, plan_segments(time, runs), 8 * HOUR)


def _edge(age, per_part=0.001, **changes):
    values = {"planned_cost": 20.0, "failure_cost": 200.0, **changes}
    return MountedEdge(1, 0, 0, age, (per_part,), **values)


def _plan(model, machine, *edges):
    due = edges_due([machine], edges, model)
    return due, plan_stations([machine], edges, due, model)


def test_quantiles_of_parts_and_of_the_clock_are_in_order(model):
    machine = _machine(DAYS_ONLY)
    due, _ = _plan(model, machine, _edge(0.2), _edge(0.9))

    assert (np.diff(due.parts_left, axis=1) > 0).all()
    assert (np.diff(due.run_out_us, axis=1) > 0).all()
    assert (due.parts_left[0] > due.parts_left[1]).all()
    assert due.fail_shift[0] < due.fail_shift[1]


def test_the_swap_of_least_cost_comes_well_before_the_median(model):
    due, (plan,) = _plan(model, _machine(DAYS_ONLY), _edge(0.0))

    assert plan.first.why == "cost"
    assert 0 < plan.parts < due.parts_left[0, 2]
    assert plan.parts == pytest.approx(plan.swap_age / 0.001, rel=1e-6)


def test_a_dearer_failure_swaps_sooner(model):
    _, (mild,) = _plan(model, _machine(DAYS_ONLY), _edge(0.0, failure_cost=60.0))
    _, (dear,) = _plan(model, _machine(DAYS_ONLY), _edge(0.0, failure_cost=2000.0))

    assert dear.parts < mild.parts


def test_an_edge_past_its_point_is_due_at_once(model):
    _, (plan,) = _plan(model, _machine(), _edge(2.0))

    assert (plan.first.why, plan.first.seconds, plan.parts) == ("past", 0.0, 0.0)


def test_the_size_limit_wins_where_it_comes_first(model):
    _, (plan,) = _plan(model, _machine(DAYS_ONLY), _edge(0.0, size_parts_left=50.0))

    assert plan.first.why == "size_limit"
    assert plan.parts == pytest.approx(50)


def test_an_edge_that_outlives_the_runs_says_so(model):
    machine = _machine(DAYS_ONLY, (RunAhead("bush", 40, 60.0),))
    _, (plan,) = _plan(model, machine, _edge(0.0))

    assert plan.first.why == "run_ends_first"
    assert plan.first.seconds == np.inf
    assert plan.parts == pytest.approx(plan.swap_age / 0.001)


def test_an_idle_station_is_never_due(model):
    due, (plan,) = _plan(model, _machine(), _edge(0.3, per_part=0.0))

    assert plan.first.seconds == np.inf
    assert due.run_out_us.tolist() == [[-1, -1, -1, -1]]
    assert due.fail_shift.tolist() == [0.0]


def test_a_swap_in_the_night_comes_forward_to_the_evening(model):
    # 16 attended hours at 60 parts an hour; the point lies about 20 h ahead
    _, (free,) = _plan(model, _machine(DAYS_ONLY), _edge(0.0, per_part=0.0003))
    age = free.swap_age - 20 * 60 * 0.0003
    _, (plan,) = _plan(model, _machine(), _edge(age, per_part=0.0003))

    assert plan.first.why == "unattended_stretch"
    assert plan.first.seconds == 16 * HOUR


def test_the_night_rule_swaps_only_until_the_limit_is_kept(model):
    machine = _machine()
    edges = tuple(
        MountedEdge(i, 0, 0, age, (0.0001,), 20.0, 200.0)
        for i, age in enumerate((0.05, 0.2, 0.25, 0.28))
    )
    due, plans = _plan(model, machine, *edges)
    changed, (night,) = keep_the_night([machine], edges, due, plans, model, limit=0.02)

    assert night.as_planned > 0.02
    assert night.safe
    assert 0 < len(night.added) < 4
    for row, edge in enumerate(edges):
        if edge.station_id in night.added:
            assert changed[row].first.why == "unattended_stretch"
            assert changed[row].first.seconds == 16 * HOUR
        else:
            assert changed[row] == plans[row]


def test_a_night_beyond_help_changes_no_nearly_new_edge():
    rng = np.random.default_rng(7)
    lives = np.concatenate([rng.weibull(4.0, 200), np.full(20, 0.3)])
    ended = np.concatenate([np.full(200, WORN), np.full(20, BROKEN)])
    chipping = fit_life_model(
        key_table([0], [0], [0]),
        life_histories(np.zeros(220), lives, lives * 1000, ended),
    )
    machine = _machine()
    edges = tuple(
        MountedEdge(i, 0, 0, age, (0.0001,), 20.0, 200.0) for i, age in enumerate((0.1, 0.5))
    )
    due = edges_due([machine], edges, chipping)
    plans = plan_stations([machine], edges, due, chipping)
    plans = [replace(plan, first=replace(plan.first, seconds=40 * HOUR)) for plan in plans]
    _, (night,) = keep_the_night([machine], edges, due, plans, chipping, limit=0.02)

    assert not night.safe
    assert night.added == (1,)
    assert 0.02 < night.with_swaps < night.as_planned


def test_a_night_that_is_safe_is_left_alone(model):
    machine = _machine()
    edges = (MountedEdge(1, 0, 0, 0.0, (1e-6,), 20.0, 200.0),)
    due, plans = _plan(model, machine, *edges)
    changed, (night,) = keep_the_night([machine], edges, due, plans, model)

    assert (night.added, night.safe) == ((), True)
    assert changed == plans


def test_a_tool_of_three_hours_needs_several_sisters_a_day(model):
    machine = _machine(DAYS_ONLY)
    edge = _edge(0.0, per_part=0.005)
    due, (plan,) = _plan(model, machine, edge)
    whole = with_successors(machine, due.lines[0], plan, 24 * HOUR)

    seconds = [plan.first.seconds, *(swap.seconds for swap in whole.successors)]
    assert len(seconds) == int(24 * HOUR / plan.first.seconds)
    assert np.diff(seconds) == pytest.approx(plan.first.seconds)


def test_successors_fall_into_attended_time_only(model):
    machine = _machine()
    edge = _edge(0.0, per_part=0.002)
    due, (plan,) = _plan(model, machine, edge)
    whole = with_successors(machine, due.lines[0], plan, 5 * 24 * HOUR)

    times = [swap.seconds for swap in whole.successors]
    assert times == sorted(set(times))
    assert whole.successors
    for second in times:
        assert machine.time.last_attended(second)[1] is False or second in (
            machine.time.begin_s
        )


def test_an_edge_shorter_than_the_night_still_plans_on(model):
    machine = _machine()
    edge = _edge(0.0, per_part=0.005)  # an hour and a half
    due, (plan,) = _plan(model, machine, edge)
    whole = with_successors(machine, due.lines[0], plan, 48 * HOUR)

    assert any("will not last" in swap.sentence for swap in whole.successors)
    assert whole.successors[-1].seconds > 40 * HOUR
