"""Whatever the shop: no swap after its own point or in the dark, and no night made worse."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.floor.week import WeekSpan
from crib.life.fitting import fit_life_model
from crib.life.observations import BROKEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.planning.ahead import lay_out
from crib.planning.attended import Attended
from crib.planning.demand import RunAhead, plan_segments, wear_ahead
from crib.planning.due import MachineAhead, MountedEdge, edges_due
from crib.planning.night_options import decide
from crib.planning.stops_ahead import Bar, stops_ahead
from crib.planning.swap_plan import plan_swaps
from crib.planning.wear_lines import WearLines

MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUR = 3600.0


@cache
def model():
    rng = np.random.default_rng(11)
    worn, broken = rng.weibull(3.0, 60), np.array([0.02, 0.03, 0.06, 0.6])
    lives = np.concatenate([worn, broken])
    return fit_life_model(
        key_table([0, 1], [0, 0], [0, 1]),
        life_histories(
            np.concatenate([np.zeros(60), np.ones(4)]),
            lives,
            lives * 900,
            np.concatenate([np.full(60, WORN), np.full(4, BROKEN)]),
        ),
    )


@st.composite
def times(draw):
    """A week of days with attended, unattended and closed hours."""
    spans = []
    for day in range(7):
        cuts = sorted(draw(st.sets(st.integers(0, 24), min_size=2, max_size=5)))
        for a, b in pairwise(cuts):
            kind = draw(st.sampled_from(["attended", "unattended", "closed"]))
            if kind != "closed":
                spans.append(WeekSpan(day, a * 60, b * 60, kind == "attended"))
    return lay_out(WorkCalendar(tuple(spans), "UTC"), MONDAY, MONDAY + timedelta(days=20))


@st.composite
def shops(draw):
    machines, bars = [], []
    for number in range(draw(st.integers(1, 2))):
        time = draw(times())
        runs = [
            RunAhead("first", draw(st.integers(20, 900)), 60.0),
            RunAhead("then", float("inf"), draw(st.sampled_from([30.0, 120.0]))),
        ]
        machines.append(MachineAhead(f"M{number}", time, plan_segments(time, runs), 6 * HOUR))
        bars.append([Bar(draw(st.integers(20, 200)), 5.0), None])
    count = draw(st.integers(1, 5))
    edges = [
        MountedEdge(
            station,
            draw(st.integers(0, len(machines) - 1)),
            draw(st.integers(0, 1)),
            draw(st.sampled_from([0.0, 0.1, 0.3, 0.6, 2.5])),
            (draw(st.sampled_from([0.0, 0.0003, 0.002])), draw(st.sampled_from([0.001, 0.01]))),
            2_000.0,
            draw(st.sampled_from([3_000.0, 20_000.0])),
            draw(st.sampled_from([None, 30.0])),
        )
        for station in range(count)
    ]
    stops = [
        stops_ahead(machine, bar, [3 * HOUR], 72 * HOUR)
        for machine, bar in zip(machines, bars, strict=True)
    ]
    return machines, edges, stops


def _planned(shop, limit, minute_cost=100.0):
    machines, edges, stops = shop
    due = edges_due(machines, edges, model())
    return plan_swaps(
        machines, edges, due, model(), stops=stops, minute_cost=minute_cost, limit=limit
    )


def _found(swaps, machines, days=6):
    end_us = us_of(MONDAY + timedelta(days=days))
    return swaps.up_to(end_us, np.array([m.time.seconds_at(end_us) for m in machines]))


@settings(max_examples=25)
@given(shops())
def test_no_swap_is_planned_while_nobody_is_there(shop):
    machines, edges, _ = shop
    found = _found(_planned(shop, 0.02), machines)

    for row, second, why in zip(
        found.row.tolist(), found.seconds.tolist(), found.why.tolist(), strict=True
    ):
        overdue = second == 0.0 and why == 1  # due at once, whoever is there
        assert overdue or not machines[edges[row].machine].time.last_attended(second)[1]


@settings(max_examples=25)
@given(shops())
def test_a_swap_never_comes_after_its_own_point(shop):
    """But for one that falls due while nobody is there to make it, nor was since it came in."""
    alone = _planned(shop, 1.0, minute_cost=0.0)
    for limit, minute_cost in ((0.02, 100.0), (0.02, 0.0), (1.0, 100.0)):
        moved = _planned(shop, limit, minute_cost)
        for plan, own in zip(moved.stations, alone.stations, strict=True):
            assert plan.first.seconds <= own.first.seconds + 1e-6
            assert plan.first.age <= own.first.age + 1e-9


@settings(max_examples=25)
@given(shops())
def test_swaps_brought_forward_never_raise_a_nights_risk(shop):
    for night in _planned(shop, 0.02).nights:
        assert 0 <= night.floor <= night.with_swaps * (1 + 1e-9)
        assert night.breakage <= night.floor * (1 + 1e-9)
        assert night.with_swaps <= night.as_planned * (1 + 1e-9)
        until = decide(night).option("until")
        if until is not None:
            assert night.as_it_stands > 0.02
            assert night.begin_us <= until.until_us <= night.end_us
        if night.floor <= 0.02 * (1 - 1e-9) and night.added:
            assert night.with_swaps <= 0.02 * (1 + 1e-9)


@settings(max_examples=25)
@given(shops(), st.integers(1, 5))
def test_a_longer_look_only_adds(shop, days):
    machines, _, _ = shop
    swaps = _planned(shop, 0.02)
    near, far = _found(swaps, machines, days), _found(swaps, machines, days + 1)

    seen = set(zip(far.row.tolist(), far.ordinal.tolist(), far.seconds.tolist(), strict=True))
    assert (
        set(zip(near.row.tolist(), near.ordinal.tolist(), near.seconds.tolist(), strict=True))
        <= seen
    )
    assert len(near.row) <= len(far.row)


@settings(max_examples=25)
@given(times(), st.lists(st.floats(0, 300 * HOUR), min_size=1, max_size=8))
def test_times_of_many_machines_are_those_of_one(time, seconds):
    attended = Attended([time, replace(time)])
    at = np.array(seconds)
    machine = np.arange(len(at)) % 2
    found, moved = attended.last_attended(machine, at)

    for second, got, was_moved in zip(seconds, found.tolist(), moved.tolist(), strict=True):
        one, one_moved = time.last_attended(second)
        assert was_moved == one_moved
        # of unattended stretches in a row the first one's begin
        while one_moved and time.last_attended(one)[1] and time.last_attended(one)[0] < one:
            one = time.last_attended(one)[0]
        assert got == one
    assert attended.clock_us(machine, at).tolist() == time.clock_us(at).tolist()


@settings(max_examples=25)
@given(
    times(),
    st.lists(st.tuples(st.integers(1, 500), st.sampled_from([0.0, 0.01, 0.2])), max_size=4),
    st.lists(st.floats(0, 200 * HOUR), min_size=1, max_size=6),
)
def test_many_lines_say_what_each_says(time, runs, values):
    segments = plan_segments(time, [RunAhead("p", parts, 90.0) for parts, _ in runs])
    one = wear_ahead(segments, [wear for _, wear in runs])
    short = wear_ahead(plan_segments(time, []), [])
    lines = WearLines([short, one])
    rows = np.ones(len(values), dtype=np.int64)
    wanted = [value / (50 * HOUR) for value in values]

    assert lines.at(rows, np.array(values)).tolist() == [one.at(v) for v in values]
    assert lines.until(rows, np.array(wanted)).tolist() == [
        one.seconds_until(w) for w in wanted
    ]
