"""Where the parts of a time strip lie: by real time, inside the field, without gaps."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.shift.timeline import (
    LEFT,
    RIGHT,
    TimeAxis,
    draw_machine,
    draw_shop,
    ground_of,
    marks_of,
)
from crib.floor.calendar import Stretch
from crib.views.shift_view import MachineShift, StationLine

BERLIN = ZoneInfo("Europe/Berlin")
BEGIN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
MINUTES = st.integers(-2_000, 10_000)


def axis(hours=24, begin=BEGIN):
    return TimeAxis(begin, begin + timedelta(hours=hours))


def line(*minutes, station="T01"):
    at = [None if m is None else BEGIN + timedelta(minutes=m) for m in minutes]
    forecast = SimpleNamespace(
        station=station,
        run_out_at=dict(zip(("p10", "p50", "p90"), at, strict=True)),
        parts_left={"p50": 100},
    )
    return StationLine(forecast, ())


def machine(*lines, stretches=()):
    return MachineShift("M1", tuple(lines), tuple(stretches), None, None, None, None)


@given(MINUTES, MINUTES)
def test_a_later_instant_never_lies_further_left_nor_outside(one, other):
    first, last = sorted((one, other))
    places = [axis().x(BEGIN + timedelta(minutes=m)) for m in (first, last)]

    assert LEFT <= places[0] <= places[1] <= RIGHT


@given(st.lists(st.integers(0, 10_000), min_size=3, max_size=3))
def test_early_median_and_late_keep_their_order_inside_the_field(minutes):
    (wedge,) = draw_machine(axis(), machine(line(*sorted(minutes)))).rows[0].wedges

    assert LEFT <= wedge.early <= wedge.late <= RIGHT
    if wedge.middle is not None:
        assert wedge.early <= wedge.middle <= wedge.late


def test_a_wedge_that_goes_on_beyond_the_field_does_not_look_ended_there():
    ends, goes_on = (
        draw_machine(axis(), machine(line(600, 1_000, late))).rows[0].wedges[0]
        for late in (1_440, 2_880)
    )

    assert ends.late == goes_on.late == RIGHT
    assert ends.early + ends.width == pytest.approx(RIGHT)
    assert goes_on.early + goes_on.width == pytest.approx(RIGHT + (RIGHT - LEFT), abs=0.2)


def test_a_tool_that_lasts_beyond_what_is_foreseen_has_no_median():
    (wedge,) = draw_machine(axis(), machine(line(None, None, None))).rows[0].wedges

    assert wedge.middle is None
    assert wedge.early == RIGHT


@pytest.mark.parametrize(
    ("swap_at", "standby", "before"),
    [(None, False, 1.0), (750, False, 0.5), (300, False, 0.0), (1_200, False, 1.0),
     (750, True, 1.0), (0, False, 1.0)],
)  # fmt: skip
def test_a_wedge_is_split_at_the_planned_swap_and_whole_where_the_swap_is_due(
    swap_at, standby, before
):
    one = line(600, 700, 900)
    if swap_at is not None:
        one = StationLine(one.forecast, (_swap(swap_at, "ready", standby=standby),))

    (wedge,) = draw_machine(axis(), machine(one)).rows[0].wedges

    assert wedge.before_swap == pytest.approx(wedge.width * before, abs=0.02)


@pytest.mark.parametrize(("day", "length"), [((2026, 3, 29), 23), ((2026, 10, 25), 25)])
def test_the_day_on_which_clocks_change_has_its_real_length(day, length):
    begin = datetime(*day, tzinfo=BERLIN).astimezone(UTC)
    whole = TimeAxis(begin, begin + timedelta(hours=length))

    ticks = whole.hours(BERLIN)

    assert [at.astimezone(BERLIN).hour for _, at in ticks] == [0, 3, 6, 9, 12, 15, 18, 21, 0]
    hours = [(x - LEFT) / (RIGHT - LEFT) * length for x, _ in ticks]
    assert hours[1] - hours[0] == pytest.approx(3 + (length - 24), abs=0.01)
    assert hours[2] - hours[1] == pytest.approx(3, abs=0.01)


def test_the_ground_is_without_gaps_and_says_who_is_there():
    day = Stretch(BEGIN + timedelta(hours=2), BEGIN + timedelta(hours=8), True)
    night = Stretch(day.end_at, BEGIN + timedelta(hours=20), False)

    ground = ground_of(axis(), (day, night))

    assert [part.kind for part in ground] == ["shut", "day", "night", "shut"]
    assert ground[0].x == LEFT
    for before, after in pairwise(ground):
        assert before.x + before.width == pytest.approx(after.x)
    assert ground[-1].x + ground[-1].width == pytest.approx(RIGHT)


def test_the_shop_has_a_strip_per_machine_with_a_wedge_for_each_of_its_tools():
    one = machine(line(60, 120, 180), line(200, 300, 400), line(None, None, None))

    drawing = draw_shop(axis(), [one, replace(one, machine="M2", lines=())])

    first, empty = drawing.rows
    assert first.line is one.lines[0]
    assert [wedge.middle for wedge in first.wedges] == [
        axis().x(BEGIN + timedelta(minutes=120)),
        axis().x(BEGIN + timedelta(minutes=300)),
        None,
    ]
    assert first.calm == RIGHT
    assert (empty.line, empty.calm) == (None, LEFT)
    assert drawing.by_name == {"M1": first, "M2": empty}


def _swap(minutes, state, since=None, waits=False, standby=False):
    return SimpleNamespace(
        swap_by=BEGIN + timedelta(minutes=minutes),
        sister=SimpleNamespace(state=state),
        overdue_since=since,
        before_next_job=waits,
        standby=standby,
    )


def test_a_strip_counts_what_is_overdue_but_not_what_waits_for_the_next_job():
    late = BEGIN - timedelta(hours=3)
    swaps = [_swap(0, "ready", late), _swap(0, "build", late), _swap(0, "ready", late, True)]
    mark, later = marks_of(axis(), [*swaps, _swap(600, "ready")])
    assert (mark.swaps, mark.overdue, later.overdue) == (3, 2, 0)

    one = StationLine(line(600, 700, 900).forecast, (swaps[0],))
    other = StationLine(line(600, 700, 900).forecast, (swaps[2],))
    rows = [draw_machine(axis(), machine(each)).rows[0] for each in (one, other)]
    assert [row.overdue for row in rows] == [1, 0]
    both = draw_shop(axis(), [machine(one, line(300, 400, 500))]).rows[0]
    assert (both.first, both.calm) == tuple(
        axis().x(BEGIN + timedelta(minutes=at)) for at in (300, 600)
    )


def test_swaps_too_close_to_stand_apart_are_one_mark_with_their_number_and_the_worst_state():
    swaps = [_swap(10, "build"), _swap(0, "ready"), _swap(20, "measure"), _swap(600, "ready")]

    marks = marks_of(axis(), swaps)

    assert [(one.swaps, one.state) for one in marks] == [(3, "build"), (1, "ready")]
    assert marks[0].at == BEGIN
    assert marks[0].worst == 1  # two of the three are better off


def test_a_swap_beyond_the_field_has_no_mark_in_it():
    marks = marks_of(axis(), [_swap(1_441, "blocked"), _swap(1_440, "ready")])

    assert [(one.x, one.state) for one in marks] == [(RIGHT, "ready")]


@given(st.lists(st.integers(0, 1_440), max_size=40))
def test_marks_never_cover_each_other_and_hold_every_swap(minutes):
    marks = marks_of(axis(), [_swap(one, "ready") for one in minutes])

    assert sum(one.swaps for one in marks) == len(minutes)
    # a mark is 16 px wide, and the strip of a phone some 320 px
    assert all(
        (after.x - before.x) / 100 * 320 >= 16 - 1e-6 for before, after in pairwise(marks)
    )
