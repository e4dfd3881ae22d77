"""When to swap and why: cost, size, runs, the night, and the successors after it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.floor.week import WeekSpan
from crib.life.fitting import fit_life_model
from crib.life.observations import BROKEN, CENSORED, LAND_SEEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.planning.ahead import lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead, MountedEdge, edges_due
from crib.planning.night_options import Prices, decide
from crib.planning.stops_ahead import BAR_CHANGE, Bar, stops_ahead
from crib.planning.swap_plan import plan_swaps
from crib.planning.swaps import GATHERED, Figures, sentence_of_first

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


def _swaps(model, machine, *edges, **more):
    due = edges_due([machine], edges, model)
    return due, plan_swaps([machine], edges, due, model, **more)


def _plan(model, machine, *edges, limit=1.0):
    due, swaps = _swaps(model, machine, *edges, limit=limit)
    return due, swaps.stations


def _seconds(swaps, machine, hours):
    end_us = us_of(MONDAY + timedelta(hours=hours))
    return swaps.up_to(end_us, np.array([machine.time.seconds_at(end_us)]))


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
    _, left = _swaps(model, machine, *edges, limit=1.0)
    _, kept = _swaps(model, machine, *edges, limit=0.02)

    night = kept.nights[0]
    assert night.as_planned > 0.02
    assert night.safe
    assert 0 < len(night.added) < 4
    for plan, before, edge in zip(kept.stations, left.stations, edges, strict=True):
        if edge.station_id in night.added:
            assert plan.first.why == "unattended_stretch"
            assert plan.first.seconds == 16 * HOUR
        else:
            assert plan.first.seconds > 16 * HOUR or plan == before


@pytest.fixture(scope="module")
def chipping():
    rng = np.random.default_rng(7)
    lives = np.concatenate([rng.weibull(4.0, 200), np.full(20, 0.3)])
    ended = np.concatenate([np.full(200, WORN), np.full(20, BROKEN)])
    return fit_life_model(
        key_table([0], [0], [0]),
        life_histories(np.zeros(220), lives, lives * 1000, ended),
    )


def _nearly_new(failure=25.0):
    return tuple(
        MountedEdge(i, 0, 0, age, (0.0001,), 20.0, failure) for i, age in enumerate((0.02, 0.3))
    )


def test_a_night_beyond_help_changes_no_nearly_new_edge(chipping):
    _, swaps = _swaps(chipping, _machine(), *_nearly_new(), limit=0.02)

    night = swaps.nights[0]
    assert not night.safe
    assert 0 not in night.added
    assert 0.02 < night.floor <= night.with_swaps <= night.as_planned


def test_breakage_is_the_part_of_a_nights_risk_that_no_swap_lowers(chipping, model):
    edges = tuple(replace(edge, per_part=(0.001,)) for edge in _nearly_new())
    _, swaps = _swaps(chipping, _machine(), *edges, limit=0.02)
    night = swaps.nights[0]

    # 20 breaks in so many parts, and two edges through a night of 480 parts
    seen = 1000 * (np.random.default_rng(7).weibull(4.0, 200).sum() + 20 * 0.3)
    assert night.breakage == pytest.approx(1 - np.exp(-2 * 480 * 20 / seen), rel=0.05)
    assert night.breakage <= night.floor
    calm = _swaps(model, _machine(), *edges, limit=0.02)[1].nights[0]
    assert calm.breakage < 0.1 * night.breakage


def test_a_night_beyond_help_asks_for_no_swap_that_costs_more_than_it_prevents(chipping):
    # a new edge in place of the nearly new one hardly helps; of the other it takes off most
    def night(failure):
        new, worn = _nearly_new(failure)
        edges = (new, replace(worn, age=1.0))
        return _swaps(chipping, _machine(), *edges, limit=0.001)[1].nights[0]

    cheap, dear = night(20.1), night(25.0)

    assert cheap.added == ()
    assert dear.added == (1,)


@pytest.mark.parametrize(("limit", "oldest"), [(0.05, 0.3), (0.05, 0.5), (0.02, 0.5)])
def test_a_swap_that_comes_too_late_stays_planned_and_others_do_without_it(
    model, limit, oldest
):
    """Whether it is due anyway, or was brought forward for the night, as at the low limit."""
    machine, late = _machine(), np.array([True, False, False, False])
    edges = [
        replace(_edge(age, 0.0002), station_id=station)
        for station, age in enumerate((oldest, 0.5, 0.45, 0.1), start=1)
    ]
    without, swaps = (
        _swaps(model, machine, *edges, limit=limit, late=some)[1] for some in (None, late)
    )
    before, after = without.nights[0], swaps.nights[0]
    stop, longer = (decide(one, Prices({}, {}, frozenset({1}))) for one in (before, after))

    assert 0 in _seconds(swaps, machine, 16.1).row.tolist()
    assert {*before.added} < {*after.added}
    assert after.as_planned > before.as_planned
    assert (1 in after.added) == (1 in before.added)
    assert (stop.kind, longer.kind) == ("until", "until")
    assert longer.chosen.parts > stop.chosen.parts
    assert longer.missing == (1,)


@pytest.mark.parametrize(("minutes", "added"), [(5.0, (1,)), (400.0, ())])
def test_a_night_beyond_help_asks_for_a_swap_that_gains_more_parts_before_the_stop(
    chipping, minutes, added
):
    """A failure of it costs too little for it to be swapped for its own sake."""
    new, worn = _nearly_new(20.1)
    edges = (new, replace(worn, age=1.0, swap_minutes=minutes))
    _, swaps = _swaps(chipping, _machine(), *edges, limit=0.02)
    night = swaps.nights[0]
    until = decide(night).option("until")

    assert night.floor > 0.02
    assert night.added == added
    assert [one.station_id for one in until.swaps] == [*added]
    if added:
        stays = decide(replace(night, edges=replace(night.edges, swaps=np.zeros(2, dtype=int))))
        assert until.parts > (stays.chosen.parts + 5 if stays.kind == "until" else 30)


def test_a_night_beyond_help_says_until_when_to_run(chipping):
    machine = _machine()
    edges = _nearly_new()
    due, swaps = _swaps(chipping, machine, *edges, limit=0.02)
    night = swaps.nights[0]
    until = decide(night).chosen
    until_s = machine.time.seconds_at(until.until_us)

    def chance(second):
        lives = 1.0
        for row, edge in enumerate(edges):
            fresh = edge.station_id in night.added
            at = due.lines[row].at(16 * HOUR)
            age = 0.0 if fresh else edge.age + at
            ahead = due.lines[row].at(second) - at
            lives *= float(chipping.survival(0, age, ahead, edge.per_part[0]))
        return 1 - lives

    assert chance(24 * HOUR) == pytest.approx(night.with_swaps, rel=1e-9)
    assert chance(until_s) <= 0.02
    assert chance(until_s + 600) > 0.02
    assert until.kind == "until"
    assert until.parts == int((until_s - 16 * HOUR) / 60)
    assert until.carriers[0].fail_probability >= until.carriers[1].fail_probability


def test_a_night_that_is_safe_is_left_alone(model):
    machine = _machine()
    edges = (MountedEdge(1, 0, 0, 0.0, (1e-6,), 20.0, 200.0),)
    _, left = _swaps(model, machine, *edges, limit=1.0)
    _, swaps = _swaps(model, machine, *edges)

    assert [night.ordinal for night in swaps.nights] == [0, 1, 2]
    for night in swaps.nights:
        assert (night.added, night.safe, decide(night).kind) == ((), True, "run")
    assert swaps.stations == left.stations


def test_a_later_night_has_its_swaps_too(model):
    # safe tonight, past the limit tomorrow night, own point the day after
    machine = _machine()
    edges = (MountedEdge(1, 0, 0, 0.1, (0.0001,), 20.0, 60.0),)
    _, left = _swaps(model, machine, *edges, limit=1.0)
    _, swaps = _swaps(model, machine, *edges, limit=0.01)

    first, second = swaps.nights[:2]
    assert (first.added, first.safe) == ((), True)
    assert (second.added, second.safe) == ((1,), True)
    assert swaps.stations[0].first.seconds == 40 * HOUR < left.stations[0].first.seconds


def test_a_tool_of_three_hours_needs_several_sisters_a_day(model):
    machine = _machine(DAYS_ONLY)
    _, swaps = _swaps(model, machine, _edge(0.0, per_part=0.005))
    first = swaps.stations[0].first.seconds
    found = _seconds(swaps, machine, 24)

    assert found.ordinal.tolist() == list(range(int(24 * HOUR / first)))
    assert np.diff(found.seconds) == pytest.approx(first)


def test_a_longer_look_only_adds_to_a_shorter_one(model):
    machine = _machine()
    edges = (_edge(0.0, per_part=0.002), replace(_edge(0.1, per_part=0.0005), station_id=2))
    _, swaps = _swaps(model, machine, *edges)
    near, far = _seconds(swaps, machine, 30), _seconds(swaps, machine, 200)

    for row in (0, 1):
        short, long = near.seconds[near.row == row], far.seconds[far.row == row]
        assert len(short) < len(long)
        assert long[: len(short)].tolist() == short.tolist()


def test_successors_fall_into_attended_time_only(model):
    machine = _machine()
    _, swaps = _swaps(model, machine, _edge(0.0, per_part=0.002))
    times = _seconds(swaps, machine, 5 * 24).seconds.tolist()

    assert len(times) > 5
    assert times == sorted(set(times))
    for second in times:
        assert not machine.time.last_attended(second)[1]


def test_an_edge_shorter_than_the_night_still_plans_on(model):
    machine = _machine()
    _, swaps = _swaps(model, machine, _edge(0.0, per_part=0.005))  # an hour and a half
    found = _seconds(swaps, machine, 50)
    sentences = [
        swaps.sentence(*row)
        for row in zip(
            found.row.tolist(),
            found.seconds.tolist(),
            found.why.tolist(),
            found.stop.tolist(),
            found.age.tolist(),
            strict=True,
        )
    ]

    assert any("will not last" in sentence for sentence in sentences)
    assert found.seconds[-1] > 48 * HOUR


def test_an_edge_that_has_not_cut_yet_is_not_changed_for_another(model):
    # its job begins with the night, which it does not last
    runs = (RunAhead("bush", 16 * 60, 60.0), RunAhead("pin", float("inf"), 60.0))
    machine = _machine(runs=runs)
    waits = MountedEdge(1, 0, 0, 0.0, (0.0, 0.005), 20.0, 200.0)
    cuts = MountedEdge(2, 0, 0, 0.0, (0.0013, 0.0013), 20.0, 200.0)
    _, swaps = _swaps(model, machine, waits, cuts, minute_cost=100.0)
    found = _seconds(swaps, machine, 50)

    assert (found.age > 0).all()
    assert not ((found.row == 0) & (found.seconds <= 16 * HOUR)).any()


def test_the_cost_of_earlier_and_later_is_that_of_age_replacement(model):
    edge = _edge(0.1)
    _, (plan,) = _plan(model, _machine(DAYS_ONLY), edge)
    best, rate, _ = (float(v) for v in model.swap_age(0, 20.0, 200.0, 0.001))

    def kept_until(age):
        grid = np.linspace(0.0, age, 4001)
        alive = np.asarray(model.survival(0, 0.0, grid, 0.001))
        mean = float(((alive[1:] + alive[:-1]) / 2 * np.diff(grid)).sum())
        return 180.0 * (1 - float(alive[-1])) - rate * mean, float(alive[-1])

    there, _ = kept_until(best)
    early, alive_early = kept_until(0.75 * best)
    late, _ = kept_until(1.25 * best)
    alive_there = kept_until(best)[1]
    assert plan.step_parts == pytest.approx(0.25 * best / 0.001)
    assert plan.cost_if_earlier == pytest.approx((early - there) / alive_early, rel=0.01)
    assert plan.cost_if_later == pytest.approx((late - there) / alive_there, rel=0.01)
    assert plan.cost_if_earlier > 0
    assert plan.cost_if_later > 0


def test_an_edge_due_now_cannot_come_out_earlier(model):
    _, (plan,) = _plan(model, _machine(DAYS_ONLY), _edge(0.9))

    assert plan.first.why == "past"
    assert plan.cost_if_earlier is None
    assert plan.cost_if_later > 0


def test_two_tools_due_within_minutes_share_a_stop(model):
    machine = _machine(DAYS_ONLY)
    edges = (_edge(0.1), replace(_edge(0.098), station_id=2))
    _, apart = _swaps(model, machine, *edges, limit=1.0)
    _, shared = _swaps(model, machine, *edges, limit=1.0, minute_cost=1.0)

    first, second = (plan.first for plan in shared.stations)
    assert first.seconds == second.seconds == apart.stations[0].first.seconds
    assert (first.why, second.why) == ("cost", "gathered")
    assert "2 parts earlier with the swap of another tool" in second.sentence


def test_a_swap_near_a_bar_change_waits_for_no_stop_of_its_own(model):
    machine = _machine(DAYS_ONLY)
    _, (own,) = _plan(model, machine, _edge(0.1))
    parts = int(own.parts) - 3
    stops = [stops_ahead(machine, [Bar(parts, 0.0)], (), 72 * HOUR)]
    _, swaps = _swaps(model, machine, _edge(0.1), limit=1.0, minute_cost=1.0, stops=stops)

    plan = swaps.stations[0]
    assert plan.first.why == "gathered"
    assert plan.parts == pytest.approx(parts)
    assert "a bar change" in plan.first.sentence


def test_parts_that_leave_the_station_idle_are_not_counted_as_its_own(model):
    runs = (RunAhead("pin", 5000, 60.0), RunAhead("bush", float("inf"), 60.0))
    edge = replace(_edge(0.1), per_part=(0.0, 0.001))
    due, (plan,) = _plan(model, _machine(DAYS_ONLY, runs), edge)

    assert plan.first.seconds > 5000 * 60
    assert plan.parts == pytest.approx((plan.swap_age - 0.1) / 0.001)
    assert plan.parts < due.parts_left[0, 2]


def test_a_point_in_the_dark_that_joins_a_stop_says_that_it_lies_in_the_dark(model):
    machine = _machine()
    stops = [stops_ahead(machine, [Bar(950, 0.0)], (), 72 * HOUR)]
    _, (alone,) = _plan(model, machine, _edge(0.0, per_part=0.0004))
    # nobody is there from the 960th part on, 16 h after the begin
    _, swaps = _swaps(
        model,
        machine,
        _edge(alone.swap_age - 1000 * 0.0004, per_part=0.0004),
        limit=1.0,
        minute_cost=1.0,
        stops=stops,
    )

    plan = swaps.stations[0]
    assert plan.first.why == "gathered"
    assert plan.parts == pytest.approx(950)
    assert plan.first.sentence == (
        "Due while nobody is there, so swap it after 960 parts. Swapping it 10 "
        "parts earlier with a bar change saves more than those parts are worth."
    )


def test_a_point_held_back_for_want_of_worn_edges_does_not_claim_to_be_the_best():
    rng = np.random.default_rng(8)
    early = np.full(300, 0.3)
    seen = rng.weibull(4.0, 60)
    unseen = fit_life_model(
        key_table([0, 1], [0, 1], [0, 0]),
        life_histories(
            np.repeat([0, 1], [300, 60]),
            np.concatenate([early, seen]),
            np.concatenate([early, seen]) * 1000,
            np.repeat([CENSORED, WORN], [300, 60]),
        ),
    )
    machine = _machine(DAYS_ONLY)
    _, (held, free) = _plan(unseen, machine, _edge(0.0), replace(_edge(0.0), key=1))

    assert (held.first.why, free.first.why) == ("cost", "cost")
    assert held.cost_if_later < 0 < free.cost_if_later
    assert "No edge of its kind has been seen worn yet" in held.first.sentence
    assert "costs more than a fresh edge" in free.first.sentence


def test_what_was_seen_of_a_mounted_edge_says_nothing_of_its_successors(model):
    machine = _machine(DAYS_ONLY)
    worn = _edge(0.3, seen_share=0.9, seen_at=0.3, seen_kind=LAND_SEEN)
    _, (fresh,) = _plan(model, machine, _edge(0.0))
    _, swaps = _swaps(model, machine, worn, limit=1.0)
    found = _seconds(swaps, machine, 72)

    assert swaps.stations[0].swap_age < 0.8 * fresh.swap_age
    said = swaps.sentence(0, float(found.seconds[1]), GATHERED, BAR_CHANGE, 0.2)
    assert f"{fresh.swap_age:.2f} would cost least" in said
    assert found.age[1] == pytest.approx(fresh.swap_age)
    assert found.step_parts[1] == pytest.approx(fresh.step_parts)


def test_a_wear_limit_that_is_reached_is_not_said_to_be_0_parts_ahead(model):
    _, (plan,) = _plan(model, _machine(DAYS_ONLY), _edge(0.0, size_parts_left=0.4))

    assert plan.first.sentence == (
        "Size corrections so far say that the wear limit is reached."
    )


@pytest.mark.parametrize("first_of", range(0, 190, 10))
def test_an_edge_put_in_minutes_before_the_dark_is_not_taken_out_again_for_it(model, first_of):
    machine = _machine()
    stops = [stops_ahead(machine, [Bar(958, 0.0)], (), 72 * HOUR)]  # two minutes before
    edge = _edge(first_of * 0.003, per_part=0.003)
    _, swaps = _swaps(model, machine, edge, limit=1.0, minute_cost=1.0, stops=stops)
    seconds = _seconds(swaps, machine, 30).seconds

    assert (np.diff(seconds) > 15 * 60).all()


def test_a_swap_that_joins_a_stop_of_the_same_part_does_not_count_to_0():
    figures = Figures(0.3, 0.5, 0.1, 128.4, 128.1, None, dark=True)

    assert sentence_of_first(GATHERED, BAR_CHANGE, figures) == (
        "Due while nobody is there, so swap it after 128 parts. Swapping it "
        "with a bar change just before saves a stop."
    )


def test_a_worn_edge_still_comes_out_when_the_plan_is_made_just_before_the_dark(model):
    late = MONDAY + timedelta(hours=15, minutes=50)  # ten minutes before
    time = lay_out(WorkCalendar(NIGHTS, "UTC"), late, late + timedelta(days=30))
    machine = MachineAhead("M1", time, plan_segments(time, ENDLESS), HOUR)
    _, (fresh,) = _plan(model, machine, _edge(0.0))
    _, (plan,) = _plan(model, machine, _edge(fresh.swap_age - 0.1))  # 100 parts to go

    assert plan.first.why == "unattended_stretch"
    assert plan.first.seconds == pytest.approx(600)
