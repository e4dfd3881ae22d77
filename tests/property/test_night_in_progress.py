"""A night that runs as planned: whatever minute it is, the answer is the one of its begin."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.floor.week import WeekSpan
from crib.life.observations import LAND_SEEN
from crib.planning.ahead import lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead, MountedEdge, edges_due
from crib.planning.night_begun import NightBegun, NightsBegun
from crib.planning.night_options import RUN, STAND, UNTIL, decide
from crib.planning.swap_plan import plan_swaps
from tests.property.test_swap_plan import model

BEGIN = datetime(2026, 3, 2, 22, tzinfo=UTC)
HOURS = 8
CYCLE_S = 60.0
WEEK = tuple(
    span
    for day in range(7)
    for span in (WeekSpan(day, 360, 1320, True), WeekSpan(day, 1320, 1800, False))
)
#: The answer may move by so much [s]: hazards are straight lines between two dozen points.
SLACK_S = 180.0
#: Chances of one stretch and of its two parts differ by so much: curves are kept in tables.
CURVES = 0.02


MODEL = model()


def night_at(minute, edges, limit, failed=()):
    """The night as it is planned so many minutes after its begin.

    Args:
        minute: That many.
        edges: Age at the begin of the night, wear per part, key, share of the wear limit seen.
        limit: Chance of a failure that is accepted.
        failed: Stations whose edge failed.
    """
    now = BEGIN + timedelta(minutes=minute)
    time = lay_out(WorkCalendar(WEEK, "UTC"), now, BEGIN + timedelta(days=4))
    segments = plan_segments(time, [RunAhead("bush", float("inf"), CYCLE_S)])
    machine = MachineAhead("M1", time, segments, HOURS * 3600.0)
    made = minute * 60 / CYCLE_S
    mounted = [
        MountedEdge(
            number,
            0,
            key,
            age + per_part * made,
            (per_part,),
            2_000.0,
            20_000.0,
            seen_share=seen,
            seen_at=age,
            seen_kind=0 if np.isnan(seen) else LAND_SEEN,
        )
        for number, (age, per_part, key, seen) in enumerate(edges, start=1)
    ]
    begin_us, now_us = us_of(BEGIN), us_of(now)
    over = NightBegun(
        begin_us,
        begin_us,
        np.linspace(begin_us, now_us, 25).round().astype(np.int64),
        np.linspace(0.0, 1.0, 25),
        failed,
    )
    begun = NightsBegun(
        (over,), np.array([made * edge[1] for edge in edges]), np.zeros(len(edges))
    )
    due = edges_due([machine], mounted, MODEL)
    swaps = plan_swaps([machine], mounted, due, MODEL, limit=limit, begun=begun)
    return swaps.nights[0]


EDGES = st.lists(
    st.tuples(
        st.sampled_from([0.05, 0.2, 0.4, 0.7, 1.0]),
        st.sampled_from([0.0001, 0.0004, 0.001]),
        st.integers(0, 1),
        st.sampled_from([float("nan"), float("nan"), 0.3, 0.6]),
    ),
    min_size=1,
    max_size=5,
)


@settings(max_examples=60, deadline=None)
@given(EDGES, st.sampled_from([0.01, 0.05, 0.1, 0.3]), st.integers(1, 470))
def test_the_answer_stands_still_while_the_night_runs_as_planned(edges, limit, minute):
    first, later = night_at(0, edges, limit), night_at(minute, edges, limit)
    before, after = decide(first), decide(later)
    assume(abs(first.as_it_stands / limit - 1) > 0.02)

    assert (later.begin_us, later.end_us) == (first.begin_us, first.end_us)
    assert later.as_it_stands == pytest.approx(first.as_it_stands, rel=CURVES)
    assert later.breakage == pytest.approx(first.breakage, rel=CURVES)
    if before.kind != UNTIL:
        assert after.kind == before.kind
        return
    stop_us, now_us = before.chosen.until_us, us_of(BEGIN + timedelta(minutes=minute))
    if after.kind == UNTIL:
        assert abs(after.chosen.until_us - stop_us) <= SLACK_S * 1e6
        assert after.chosen.fail_probability == pytest.approx(limit, rel=0.01)
    else:
        assert after.kind == STAND
        assert now_us >= stop_us - SLACK_S * 1e6
        reached_us = after.reached_us
        assert reached_us is None or abs(reached_us - stop_us) <= SLACK_S * 1e6
        assert reached_us is not None or now_us <= stop_us + SLACK_S * 1e6


@settings(max_examples=10, deadline=None)
@given(EDGES, st.integers(1, 470))
def test_an_edge_that_failed_leaves_nothing_to_decide(edges, minute):
    night = night_at(minute, edges, 0.3, failed=(1,))
    decision = decide(night)

    assert not night.safe
    assert [one.kind for one in decision.options] == [STAND]
    assert decision.kind == STAND


def test_what_is_over_of_a_night_is_what_its_begin_gave_it():
    edges = [(0.4, 0.0004, 0, float("nan")), (0.7, 0.0001, 0, float("nan"))]
    night = night_at(240, edges, 0.05)
    hazard = 0.0
    for age, per_part, key, _ in edges:
        alive = MODEL.survival([key], [age], [240 * per_part], [per_part])
        hazard -= float(np.log(alive[0]))

    assert night.spent == pytest.approx(1 - np.exp(-hazard), rel=1e-9)
    assert decide(night).kind in (RUN, UNTIL, STAND)


def test_what_was_seen_of_an_edge_in_the_night_does_not_change_what_is_over():
    edges = [(0.4, 0.0004, 0, float("nan"))]
    night = night_at(240, edges, 0.05)
    now = MountedEdge(
        1, 0, 0, 0.4 + 240 * 0.0004, (0.0004,), 2_000.0, 20_000.0,
        seen_share=0.9, seen_at=0.45, seen_kind=LAND_SEEN,
    )  # fmt: skip
    machine = night.edges.machine
    due = edges_due([machine], [now], MODEL)
    begun = NightsBegun((night.over,), np.array([240 * 0.0004]), np.zeros(1))
    seen = plan_swaps([machine], [now], due, MODEL, limit=0.05, begun=begun).nights[0]

    assert seen.spent == pytest.approx(night.spent, rel=1e-12)
    assert seen.as_it_stands > night.as_it_stands
