"""Swaps, nights, bench queue, kits and holders of the demo shop: one plan on all sides."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from crib.clock import instant_from_us
from crib.errors import Invalid
from crib.floor.timeline import us_of
from crib.outlook.machine_stops import machine_stops
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.planning.stops_ahead import BAR_CHANGE, SHIFT_START
from crib.views.holder_needs import holder_needs
from crib.views.kit_for_run import kit_for_run
from crib.views.night_view import night_view, tonight
from crib.views.planned_stops import planned_stops
from tests.demos import PRESENT
from tests.tight_nights import set_tight_limit


@pytest.fixture(scope="module")
def demo(demos, tmp_path_factory):
    store = demos.copy(tmp_path_factory.mktemp("demo")).store
    with store.read() as tx:
        plan = plan_shop(tx, PRESENT)
    yield SimpleNamespace(store=store, plan=plan)
    store.close()


def test_the_first_swap_in_every_list_is_the_forecasts(demo):
    plan = demo.plan
    for hours in (24, 72, 200):
        listed = make_swap_list(plan, hours)
        first = {row.forecast.station_id: row for row in listed.rows if row.ordinal == 0}
        # a swap is due, or a sister, since one in ten has failed by then
        due = {
            one.station_id: one
            for one in plan.forecasts
            if min(filter(None, (one.swap_by, one.run_out_at["p10"])), default=listed.until)
            < listed.until
        }
        empty = {one.station_id: one for one in plan.empty if one.swap_by <= listed.until}
        assert first.keys() == due.keys() | empty.keys()
        for station_id, row in first.items():
            one = due.get(station_id) or empty[station_id]
            assert (row.swap_by, row.why, row.why_sentence) == (
                one.swap_by or one.run_out_at["p10"],
                one.why,
                one.why_sentence,
            )
            assert row.cost_if_earlier_minor == one.cost_if_earlier_minor
            assert row.cost_if_later_minor == one.cost_if_later_minor


def test_a_longer_list_begins_like_a_shorter_one(demo):
    near = {(r.forecast.station_id, r.ordinal): r.swap_by for r in
            make_swap_list(demo.plan, 24).rows}  # fmt: skip
    far = {(r.forecast.station_id, r.ordinal): r.swap_by for r in
           make_swap_list(demo.plan, 72).rows}  # fmt: skip

    assert near
    assert near.items() <= far.items()


def test_the_bench_works_for_the_swaps_of_the_list(demo):
    listed = make_swap_list(demo.plan, 72)

    wanted = [row for row in listed.rows if row.sister.state in ("measure", "build")]
    assert len(listed.queue.rows) == len(wanted) > 5
    for job, row in zip(listed.queue.rows, listed.queue_rows, strict=True):
        assert job.job.due_at == row.needed_by <= row.swap_by


def test_what_is_too_late_for_a_night_is_late_in_the_swap_list(demo):
    evening = PRESENT - timedelta(hours=12, minutes=40)
    with demo.store.write() as tx:
        set_tight_limit(tx, "L5", evening)
        plan = plan_shop(tx, evening)
        tx.exec_driver_sql("UPDATE machines SET night_limit_percent = NULL")
    rows = make_swap_list(plan).rows
    lacking = [
        max(
            (row for row in rows if row.forecast.station_id == station
             and row.swap_by <= night.begin_at),
            key=lambda row: row.swap_by,
        )
        for night in tonight(plan) for station in night.decision.missing
    ]  # fmt: skip

    assert lacking
    for row in lacking:
        assert row.late
    # ready before the night, but too late to be in the machine by then
    assert any(row.needed_by < row.ready_by < row.swap_by for row in lacking)


def test_every_swap_says_why_and_what_moving_it_costs(demo):
    listed = make_swap_list(demo.plan, 240)

    seen = Counter(row.why for row in listed.rows)
    assert {"gathered", "cost", "unattended_stretch"} <= seen.keys()
    for row in listed.rows:
        assert row.why_sentence.endswith(".")
        if row.fills or row.standby:
            continue  # nothing is swapped
        assert row.cost_if_later_minor is not None
        assert (row.cost_if_earlier_minor is None) == (
            row.ordinal == 0 and row.swap_by == PRESENT
        )
        if row.why == "cost":  # at its own point nothing is cheaper
            assert row.cost_if_earlier_minor >= 0
            # or it is held back, since no edge of its kind was seen worn yet
            assert row.cost_if_later_minor >= 0 or row.forecast.basis.worn == 0


def test_swaps_are_made_while_somebody_is_there(demo):
    plan = demo.plan
    calendars = {one.ahead.machine: one.calendar for one in plan.shop.machines.values()}
    for row in make_swap_list(plan, 72).rows:
        if row.swap_by == PRESENT or row.fills or row.standby:
            continue
        here = calendars[row.forecast.machine].attended_seconds(
            row.swap_by - timedelta(seconds=2), row.swap_by + timedelta(seconds=2)
        )
        assert here > 0


def test_gathered_swaps_are_made_at_a_stop(demo):
    plan = demo.plan
    stops = machine_stops(plan.shop)
    names = [machine.machine for machine in plan.shop.ahead]
    listed = make_swap_list(plan, 48)
    times = Counter((row.forecast.machine, row.swap_by) for row in listed.rows)
    gathered = [row for row in listed.rows if row.why == "gathered"]

    assert gathered
    for row in gathered:
        number = names.index(row.forecast.machine)
        time = plan.shop.ahead[number].time
        second = time.seconds_at(us_of(row.swap_by))
        near = stops[number].seconds.size and np.abs(stops[number].seconds - second).min() < 1
        assert near or times[row.forecast.machine, row.swap_by] > 1


def test_bars_and_shifts_of_the_shop_are_stops(demo):
    shop = demo.plan.shop
    kinds = Counter(kind for stops in machine_stops(shop) for kind in stops.kind.tolist())
    assert kinds[BAR_CHANGE] > 20
    assert kinds[SHIFT_START] > 5

    seen = 0
    rows = zip(shop.machines.items(), machine_stops(shop), strict=True)
    for (machine_id, machine), stops in rows:
        running = [r for r in shop.rows.runs.get(machine_id, []) if r.state == "running"]
        if not running:
            continue
        end_s, run, lathe = (
            machine.ahead.segments.end_s[0],
            running[0],
            shop.rows.machines[machine_id],
        )
        bars = stops.seconds[(stops.kind == BAR_CHANGE) & (stops.seconds < end_s)]
        per_bar = (lathe.bar_length_mm - (lathe.bar_remnant_mm or 0)) // (
            run.part_length_mm + (run.cutoff_width_mm or 0)
        )
        left = float(machine.ahead.segments.parts[0])
        over = (run.quantity - left + machine.ahead.segments.parts_at(bars)) / per_bar
        assert over == pytest.approx(np.rint(over), abs=1e-6)  # whole bars of the run
        seen += len(bars)
    assert seen > 20


def test_every_swap_of_the_list_is_made_at_a_planned_stop(demo):
    plan = demo.plan
    stops = planned_stops(plan, 48)
    listed = make_swap_list(plan, 48)

    at_stops = Counter((row.machine, station) for row in stops.rows for station in row.swaps)
    assert at_stops == Counter(
        (row.forecast.machine, row.forecast.station)
        for row in listed.rows
        if not row.standby and row.swap_by <= listed.until
    )
    for row in stops.rows:
        assert PRESENT <= row.at <= stops.until
        assert row.swaps or row.kind != "own"
        assert (
            row.stop_min
            == {"own": 5, "bar_change": 3, "shift_start": 3, "changeover": 0}[row.kind]
        )
    assert {"own", "bar_change"} <= {row.kind for row in stops.rows if row.swaps}
    assert [row.at for row in stops.rows] == sorted(row.at for row in stops.rows)


def test_every_night_of_the_shop_has_an_answer_that_keeps_its_limit(demo):
    plan = demo.plan
    nights = [night for night in plan.nights if night.ordinal == 0]

    assert len({night.machine for night in nights}) == len(nights) == 6
    by_station = {one.station_id: one for one in plan.forecasts}
    for night in nights:
        view = night_view(plan, night)
        assert view.decision.kind in ("run", "swap", "until", "stand", "idle")
        hair = 1e-12  # sums of the same hazards in another order
        assert night.floor <= night.with_swaps + hair <= night.as_planned + 2 * hair
        chosen = view.decision.chosen
        if chosen is not None:
            assert chosen.fail_probability <= night.limit.chance * (1 + 1e-9)
            listed = {swap.forecast.station_id for swap in view.swaps}
            assert {swap.station_id for swap in chosen.swaps} <= listed
        if view.decision.kind == "until":
            assert night.begin_us <= chosen.until_us < night.end_us
        for station_id in night.added:
            assert by_station[station_id].swap_by <= instant_from_us(night.begin_us)


def test_a_machine_s_own_limit_counts_before_the_shop_s(demo):
    with demo.store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE machines SET night_limit_percent = 12.5 WHERE machine = 'L3'"
        )
        plan = plan_shop(tx, PRESENT, night_limit=0.03)
        tx.exec_driver_sql("UPDATE machines SET night_limit_percent = NULL")
    limits = {night.machine: night.limit.chance for night in plan.nights}

    assert limits.pop("L3") == 0.125
    assert set(limits.values()) == {0.03}


def test_a_limit_of_the_loss_counts_once_every_tool_has_a_failure_cost(demo):
    with demo.store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE machines SET night_limit_loss_minor = 2000 WHERE machine = 'L3'"
        )
        plan = plan_shop(tx, PRESENT)
        spec = next(one.tool_spec for one in plan.forecasts if one.machine == "L3")
        change = "UPDATE tool_specs SET failure_cost_minor = {} WHERE tool_spec = '{}'"
        cost = tx.exec_driver_sql(
            "SELECT failure_cost_minor FROM tool_specs WHERE tool_spec = ?", (spec,)
        ).scalar_one()
        tx.exec_driver_sql(change.format("NULL", spec))
        lacking = plan_shop(tx, PRESENT)
        tx.exec_driver_sql(change.format(cost, spec))
        tx.exec_driver_sql("UPDATE machines SET night_limit_loss_minor = NULL")

    def limit_of(one):
        return next(night.limit for night in one.nights if night.machine == "L3")

    assert (limit_of(plan).loss_minor, limit_of(plan).lacking) == (2_000, ())
    assert (limit_of(lacking).loss_minor, limit_of(lacking).lacking) == (None, (spec,))
    assert {one.limit.loss_minor for one in plan.nights if one.machine != "L3"} == {None}
    night = next(one for one in plan.nights if (one.machine, one.ordinal) == ("L3", 0))
    decision = night_view(plan, night).decision
    assert decision.chosen.loss_minor <= 2_000 * (1 + 1e-12)  # the limit, as floats add up
    assert decision.option("run").loss_minor > 2_000
    assert night.added
    for station_id in night.added:
        assert "expected loss" in plan.by_station()[station_id].why_sentence


def test_of_swaps_that_are_due_the_one_overdue_for_longest_stands_first(demo):
    due = [row for row in make_swap_list(demo.plan).rows
           if row.ordinal == 0 and row.swap_by <= PRESENT and row.why == "past"]  # fmt: skip
    since = [row.overdue_since or PRESENT for row in due]

    assert len(set(since)) > 2
    assert since == sorted(since)


def test_half_of_the_nights_of_the_young_shop_can_be_run(demo):
    # after eight days few lives are known; of 152 nights of six weeks 142 can be
    kinds = Counter(night_view(demo.plan, one).decision.kind for one in demo.plan.nights
                    if one.ordinal == 0)  # fmt: skip

    assert kinds["run"] + kinds["swap"] + kinds["idle"] >= 3


def test_holders_wanted_cover_the_machines_and_the_sisters(demo):
    plan = demo.plan
    found = holder_needs(plan, 72)
    listed = make_swap_list(plan, 72)

    assert sum(row.swaps for row in found.rows) == len(listed.rows)
    assert sum(row.mounted for row in found.rows) == len(plan.forecasts)
    for row in found.rows:
        assert row.mounted <= row.needed <= row.mounted + row.swaps
        assert row.short_by == max(row.needed - row.owned, 0)
        assert sum(spec.swaps for spec in row.tool_specs) == row.swaps
        if row.swaps:
            assert PRESENT <= row.needed_at <= found.until
            assert row.needed > row.mounted
    with pytest.raises(Invalid):
        holder_needs(plan, 0)


def test_a_kit_keeps_no_edge_that_is_due(demo):
    plan = demo.plan
    past = {(one.machine, one.station) for one in plan.forecasts if one.why == "past"}
    names = {row.id: row.machine for row in plan.shop.rows.machines.values()}
    kept = []
    for runs in plan.shop.rows.runs.values():
        for run in runs:
            if run.state == "done":
                continue
            kit = kit_for_run(plan, run.id).kit
            kept += [(names[run.machine_id], line.station) for line in kit.keep]

    assert past
    assert len(kept) > 10
    assert not past & set(kept)


def test_a_wider_limit_of_the_site_s_own_asks_for_fewer_swaps(demo):
    with demo.store.read() as tx:
        wide = plan_shop(tx, PRESENT, night_limit=0.4)

    assert {night.limit.chance for night in wide.nights} == {0.4}
    added = [sum(len(n.added) for n in plan.nights) for plan in (wide, demo.plan)]
    assert added[0] < added[1]
