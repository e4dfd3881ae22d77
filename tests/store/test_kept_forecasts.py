"""Forecasts that were shown are kept, and judged by what then happened, in a real database."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy.exc import IntegrityError

from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.correct_offset import CorrectOffset, correct_offset
from crib.acts.mount_tool import MountTool, mount_tool
from crib.acts.preset_tool import PresetTool, preset_tool
from crib.acts.remove_tool import RemoveTool, remove_tool
from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.errors import Conflict, Invalid, Refusal, StoreFull
from crib.floor.timeline import us_of
from crib.metrology.preset import Reading
from crib.outlook.keep_forecasts import keep_all
from crib.outlook.kept_outcomes import outcomes
from crib.outlook.plan_cache import PlanCache
from crib.outlook.shop_plan import plan_shop
from crib.outlook.widen_forecasts import distrusted, widening_of_keys
from crib.store.checking import check
from crib.store.engine import Store
from crib.store.kept_rows import KeptForecast, first_of_stays, kept_between
from crib.store.revisions import revision
from crib.views.score_forecasts import score_forecasts
from tests.gauges import checked_gauge

CYCLE = timedelta(seconds=45)
GOOD = [Reading(800_010, 160_005, None, 8_000), Reading(800_020, 160_001, None, 8_000)]


class Floor:
    """The small shop's first machine, and the plans that were shown of it."""

    def __init__(self, store: Store, start: datetime) -> None:
        self.store, self.start, self.count = store, start, 0
        self.now = start + timedelta(minutes=10)
        self.plans = PlanCache(store)
        self.act(report_counts, ReportCounts("M1", [CountReading(self.now, 0)]))

    def act(self, verb: Callable[..., Any], command: Any) -> Any:
        with self.store.write() as tx:
            return verb(tx, self.now, command)

    def mount(self, station: str = "M1/T01") -> Any:
        code = self.act(build_assembly, BuildAssembly("TURN-OD", "TH-1", "LOT-I1")).code
        with self.store.write() as tx:
            gauge = checked_gauge(tx, self.now)
        assert self.act(preset_tool, PresetTool(code, GOOD, gauge)).accepted
        return self.act(mount_tool, MountTool(station, code))

    def make(self, parts: int) -> None:
        readings = []
        for _ in range(parts // 10):
            self.now += CYCLE * 10
            self.count += 10
            readings.append(CountReading(self.now, self.count))
        assert not self.act(report_counts, ReportCounts("M1", readings)).refused

    def remove(self, reason: str) -> Any:
        return self.act(remove_tool, RemoveTool(reason, "M1/T01"))

    def show(self) -> None:
        self.plans.plan(self.now)
        self.plans.keeper.keep()

    def rest(self, at: datetime) -> None:
        """Nothing is made until then; the counter says so."""
        self.now = at
        self.act(report_counts, ReportCounts("M1", [CountReading(at, self.count)]))

    def kept(self) -> list[KeptForecast]:
        with self.store.read() as tx:
            return kept_between(tx, 0, us_of(self.now) + 1)

    def judged(self) -> list[tuple[KeptForecast, Any]]:
        with self.store.read() as tx:
            view = plan_shop(tx, self.now).shop
            kept = kept_between(tx, 0, us_of(self.now) + 1)
            return list(zip(kept, outcomes(view, kept), strict=True))

    def scores(self, by: str = "shop", **span: datetime) -> Any:
        with self.store.read() as tx:
            return score_forecasts(tx, plan_shop(tx, self.now), by, **span)


@pytest.fixture
def floor(store: Store, shop: SimpleNamespace) -> Floor:
    return Floor(store, shop.start)


def test_the_first_forecast_of_a_shift_is_kept_as_it_was_shown(floor):
    mounted = floor.mount()
    floor.make(50)
    shown = floor.plans.plan(floor.now).forecasts[0]
    assert floor.plans.keeper.waiting

    assert floor.plans.keeper.keep() == 1

    (row,) = floor.kept()
    assert (row.at_us, row.mount_id, row.occasion) == (
        us_of(floor.now),
        mounted.fact_id,
        "shift",
    )
    assert (row.life_key, row.first_of_stay, row.widening) == (shown.basis.key, True, 1.0)
    assert (row.age, row.wear_per_part) == (shown.share_used, shown.basis.wear_per_part)
    assert [int(row.left[place] / row.wear_per_part) for place in (0, 1, 3, 5)] == [
        shown.parts_left[name] for name in ("p05", "p10", "p50", "p90")
    ]
    assert row.lasts_shift == pytest.approx(1 - shown.fail_probability_shift)
    assert row.fails_unattended == pytest.approx(shown.fail_probability_unattended)
    assert row.night_scale == 1.0
    # attended from 6:00 to 22:00 in Zurich, then nobody there until 6:00
    begin = floor.start.replace(hour=21)
    assert row.shift_ends_us == row.unattended_begins_us == us_of(begin)
    assert row.unattended_ends_us == us_of(begin + timedelta(hours=8))
    assert not floor.plans.keeper.waiting


def test_what_size_corrections_said_of_the_edge_is_kept_with_it(floor):
    floor.mount()
    for _ in range(4):
        floor.make(10)
        floor.act(correct_offset, CorrectOffset("M1/T01", "X", -90, "size"))
    shown = floor.plans.plan(floor.now).forecasts[0]
    floor.plans.keeper.keep()

    (row,) = floor.kept()
    kept = [int(row.left[place] / row.wear_per_part) for place in (0, 1, 3, 5)]
    assert kept == [shown.parts_left[name] for name in ("p05", "p10", "p50", "p90")]


def test_a_shift_keeps_one_forecast_however_often_it_is_shown(floor):
    floor.mount()
    for _ in range(5):
        floor.make(20)
        floor.show()
    again = PlanCache(floor.store)  # another process
    again.plan(floor.now)

    assert again.keeper.keep() == 0
    assert len(floor.kept()) == 1
    floor.now = floor.start + timedelta(hours=15, minutes=30)
    floor.show()
    assert [row.first_of_stay for row in floor.kept()] == [True, False]


def test_the_last_forecast_before_the_removal_is_kept_too(floor):
    floor.mount()
    floor.make(20)
    floor.show()
    floor.make(40)
    floor.show()
    last = floor.now
    floor.make(20)
    floor.remove("chipped")
    floor.show()

    assert [(row.occasion, row.at_us) for row in floor.kept()][1:] == [("last", us_of(last))]


def test_an_edge_that_comes_and_goes_after_one_look_is_kept_once(floor):
    floor.mount()
    floor.make(20)
    floor.show()
    floor.remove("chipped")
    floor.show()

    assert len(floor.kept()) == 1


def test_looking_at_the_past_keeps_nothing_and_looking_counts_no_change(floor):
    floor.mount()
    floor.make(50)
    floor.plans.as_of(floor.now)
    assert not floor.plans.keeper.waiting
    with floor.store.read() as tx:
        before = revision(tx)

    floor.show()

    with floor.store.read() as tx:
        assert revision(tx) == before
    assert len(floor.kept()) == 1


def test_an_edge_that_no_run_uses_leaves_nothing_to_keep(floor):
    floor.mount("M2/T01")
    floor.show()

    assert floor.kept() == []


def test_what_is_kept_is_never_changed(floor):
    floor.mount()
    floor.make(20)
    floor.show()

    for statement in (
        "UPDATE kept_forecasts SET widening = 2",
        "DELETE FROM kept_forecasts",
        "INSERT OR REPLACE INTO kept_forecasts SELECT * FROM kept_forecasts",
    ):
        with pytest.raises(Conflict), floor.store.write() as tx:
            tx.exec_driver_sql(statement)
    assert check(floor.store) == []


def test_a_failure_to_keep_is_told_and_made_up_for(floor, monkeypatch, caplog):
    floor.mount()
    floor.make(20)
    keeper = floor.plans.keeper

    def full(*_: object) -> int:
        raise StoreFull("The disk is full.")

    with monkeypatch.context() as patched, caplog.at_level(logging.ERROR, "crib.keep"):
        patched.setattr("crib.outlook.keep_forecasts.insert_kept", full)
        shown = floor.plans.plan(floor.now)
        assert keeper.keep() == 0

    assert len(shown.forecasts) == 1  # the reader got an answer
    assert "not kept: The disk is full." in caplog.text
    assert (keeper.failures, keeper.last_failure, keeper.waiting) == (
        1,
        "The disk is full.",
        True,
    )
    assert keeper.keep() == 1
    assert (len(floor.kept()), keeper.waiting) == (1, False)


def test_wear_from_the_forecast_to_the_failure_is_what_it_is_judged_by(floor):
    floor.mount()
    floor.make(30)
    floor.show()
    floor.make(70)
    floor.remove("worn_early")

    ((row, outcome),) = floor.judged()

    assert outcome.state == "worn"
    assert outcome.good_us == outcome.failed_us == us_of(floor.now)
    assert outcome.good_wear == outcome.failed_wear == pytest.approx(70 * row.wear_per_part)


def test_an_edge_goes_on_through_a_job_change(floor):
    code = floor.mount().code
    floor.make(30)
    floor.show()
    floor.make(20)
    floor.remove("job_change")
    (lying,) = floor.judged()
    floor.rest(floor.now + timedelta(hours=1))
    floor.act(mount_tool, MountTool("M1/T01", code))
    floor.make(40)
    floor.remove("worn_early")

    ((row, outcome),) = floor.judged()

    assert lying[1].state == "going_on"
    assert outcome.state == "worn"
    assert outcome.good_wear == pytest.approx(60 * row.wear_per_part, rel=0.02)


@pytest.mark.parametrize(
    ("reason", "state"), [("worn as planned", "taken_out_early"), ("broken", "broken")]
)
def test_the_end_says_what_is_known_of_the_life(floor, reason, state):
    floor.mount()
    floor.show()
    floor.make(30)
    floor.remove(reason)

    ((_, outcome),) = floor.judged()

    assert outcome.state == state
    assert (outcome.failed_us is None) == (state == "taken_out_early")


def test_a_failure_found_in_the_morning_lies_somewhere_in_the_night(floor):
    floor.mount()
    floor.show()
    floor.make(100)
    floor.rest(floor.start + timedelta(hours=15))  # nobody there
    floor.make(200)
    floor.rest(floor.start + timedelta(days=1))
    floor.now = floor.start + timedelta(hours=23, minutes=30)
    floor.remove("broken")

    ((row, outcome),) = floor.judged()

    night = floor.start.replace(hour=21)
    assert (outcome.good_us, outcome.failed_us) == (
        us_of(night),
        us_of(night + timedelta(hours=8)),
    )
    assert outcome.good_wear == pytest.approx(100 * row.wear_per_part, rel=0.05)
    assert outcome.failed_wear == pytest.approx(300 * row.wear_per_part, rel=0.05)


def test_a_mount_that_was_reversed_takes_its_forecasts_with_it(floor):
    mounted = floor.mount()
    floor.make(30)
    floor.show()
    floor.act(reverse_fact, ReverseFact(mounted.fact_id, note="wrong station"))

    scores = floor.scores()

    assert [outcome.state for _, outcome in floor.judged()] == ["taken_back"]
    assert (scores.scores, scores.taken_back) == ((), 1)


def test_a_removal_that_was_reversed_is_judged_by_the_true_one(floor):
    floor.mount()
    floor.show()
    floor.make(50)
    wrong = floor.remove("broken")
    before = floor.judged()[0][1]
    floor.act(reverse_fact, ReverseFact(wrong.fact_id, note="it was another tool"))
    floor.make(50)
    floor.remove("worn_early")

    ((row, outcome),) = floor.judged()

    assert (before.state, outcome.state) == ("broken", "worn")
    assert outcome.good_wear == pytest.approx(100 * row.wear_per_part)


def test_new_constants_do_not_move_old_forecasts(floor, shop):
    from crib.records.catalogue import TOOL_LIFE
    from crib.store.records import get_record, list_records, update_record

    floor.mount()
    floor.make(10)
    floor.show()
    floor.make(100)
    with floor.store.write() as tx:
        (life,) = list_records(tx, TOOL_LIFE)
        version = get_record(tx, TOOL_LIFE, life["id"])["version"]
        update_record(tx, TOOL_LIFE, life["id"], {"c_m_min": 180.0}, version)
    floor.remove("worn_early")

    ((row, outcome),) = floor.judged()

    assert outcome.good_wear == pytest.approx(100 * row.wear_per_part, rel=1e-6)


def lived(floor: Floor, lives: list[int], reason: str = "worn_early") -> None:
    """Edges one after the other, each shown when it begins, of so many parts."""
    for parts in lives:
        floor.mount()
        floor.show()
        floor.make(parts)
        floor.remove(reason)
        floor.now += timedelta(minutes=1)
        floor.show()


def test_shifts_and_lives_are_counted(floor):
    lived(floor, [60, 100, 80])
    floor.mount()
    floor.make(20)
    floor.show()

    (score,) = floor.scores().scores

    assert (score.name, score.edges, score.ended) == ("shop", 4, 3)
    assert score.forecasts == len(floor.kept())
    assert (score.shift.known_held, score.shift.known_failed) == (0, 3)  # one runs still
    assert score.life_80.verdict == "too_few"
    assert 0 <= score.shift_brier <= 1
    assert score.life_pinball > 0


def test_an_edge_counts_once_however_often_its_forecast_was_kept(floor):
    floor.mount()
    for _ in range(3):
        floor.show()
        floor.make(20)
    floor.show()
    floor.remove("worn_early")
    floor.show()

    (score,) = floor.scores().scores

    assert (score.forecasts, score.edges) == (2, 1)
    assert score.life_80.known_held + score.life_80.known_failed == pytest.approx(1.0)
    assert score.shift.known_failed == 1  # one statement a shift


def test_an_edge_taken_out_within_the_shift_leaves_its_statement_open(floor):
    lived(floor, [60], "worn as planned")

    ((row, outcome),) = floor.judged()
    (score,) = floor.scores().scores

    assert outcome.good_us < row.shift_ends_us
    assert (score.shift.known_held, score.shift.known_failed) == (0, 0)
    assert score.shift.trials < 1


@pytest.mark.parametrize(("failed", "held"), [(False, 1), (True, 0)])
def test_nights_are_judged_by_the_last_word_before_them(floor, failed, held):
    floor.mount()
    floor.show()
    floor.make(50)
    floor.rest(floor.start + timedelta(hours=12))
    night = floor.start.replace(hour=21)
    floor.rest(night - timedelta(minutes=10))
    floor.show()
    floor.make(100)
    floor.rest(night + timedelta(hours=8, minutes=20))
    if failed:
        floor.remove("broken")
    floor.show()

    (score,) = floor.scores().scores

    assert score.unattended.trials == 1
    assert (score.unattended.known_held, score.unattended.known_failed) == (held, 1 - held)
    # good until the night began, so it lasted the late shift; the morning's is not over yet
    assert (score.shift.known_held, score.shift.known_failed) == (1, 0)


def test_a_forecast_of_an_edge_that_had_failed_in_the_night_is_not_judged(floor):
    floor.mount()
    floor.make(50)
    floor.rest(floor.start.replace(hour=21) + timedelta(hours=8))
    floor.now += timedelta(minutes=5)
    floor.show()  # nobody has looked into the machine yet
    floor.now += timedelta(minutes=10)
    floor.remove("broken")

    assert floor.scores().failed_before == 1


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("widening", 0.9),
        ("left_p10", 0.0),
        ("life_p90", 1e-9),
        ("wear_per_part", 0.0),
        ("lasts_shift", 1.1),
        ("fails_unattended", None),
        ("night_scale", 0.0),
        ("occasion", "whim"),
        ("mount_id", 10_000),
        ("age", None),
    ],
)
def test_the_database_refuses_a_forecast_that_contradicts_itself(floor, column, value):
    floor.mount()
    floor.make(20)
    floor.show()
    with floor.store.read() as tx:
        names = [row[1] for row in tx.exec_driver_sql("PRAGMA table_info(kept_forecasts)")][1:]
    taken = [f":{name}" if name == column else name for name in names]
    taken[names.index("first_of_stay")] = "0"
    taken[names.index("shift_ends_at")] = "shift_ends_at + 1"
    statement = (
        f"INSERT INTO kept_forecasts ({', '.join(names)})"
        f" SELECT {', '.join(taken)} FROM kept_forecasts"
    )

    with pytest.raises((Refusal, IntegrityError)), floor.store.write() as tx:
        tx.exec_driver_sql(statement, {column: value})
    assert len(floor.kept()) == 1
    with floor.store.write() as tx:  # as it was shown, it is taken
        tx.exec_driver_sql(statement.replace(f":{column}", column))
    assert len(floor.kept()) == 2


def test_forecasts_that_ran_wrong_are_pointed_out_and_widened(floor):
    lived(floor, [10, 200] * 8)

    with floor.store.read() as tx:
        plan = plan_shop(tx, floor.now)
        factors = widening_of_keys(tx, plan.shop, plan.keys)
        first = first_of_stays(tx, ["CNMG-408~M~turn"], us_of(floor.now), 80)

    assert len(first) == 16
    assert factors.max() > 1.2
    # the drill of the empty station, which never cut, is not among them
    (pointed,) = distrusted(plan.shop, plan.keys, factors)
    assert pointed.key == "CNMG-408~M~turn"
    assert pointed.key in pointed.sentence


def test_failures_are_counted_beside_those_expected(floor):
    lived(floor, [60, 100, 80])
    floor.mount()
    floor.make(20)
    floor.show()
    floor.make(10)

    (score,) = floor.scores().scores
    found = score.as_forecast

    assert found.failures == 3
    assert found.verdict == "too_few"
    assert found.failures_expected < found.failures_needed
    # the running edge is among them: more wear, no failure
    floor.make(50)
    assert floor.scores().scores[0].as_forecast.failures_expected > found.failures_expected
    assert str(found.sentence).startswith("Too few failures to tell. Failures: 3, expected: ")


def test_the_past_is_widened_by_what_was_known_then(floor):
    lived(floor, [80])
    then = floor.now
    lived(floor, [10, 300] * 5)

    with floor.store.read() as tx:
        plan = plan_shop(tx, then)
        factors = widening_of_keys(tx, plan.shop, plan.keys)

    assert factors.max() < 1.1


def test_scores_by_group(floor):
    lived(floor, [60, 100])

    for by, name in (("key", "CNMG-408~M~turn"), ("machine", "M1"), ("month", "2026-01")):
        assert [score.name for score in floor.scores(by).scores] == [name]


def test_scores_of_a_span_look_at_no_other_forecasts(floor):
    lived(floor, [60])
    floor.now += timedelta(minutes=1)
    middle = floor.now
    floor.now += timedelta(minutes=1)
    lived(floor, [70, 80])

    assert floor.scores(until=middle).scores[0].edges == 1
    assert floor.scores(since=middle + timedelta(seconds=1)).scores[0].edges == 2


def test_questions_that_cannot_be_meant_are_refused(floor):
    with pytest.raises(Invalid, match="by is 'colour'"):
        floor.scores("colour")
    with pytest.raises(Invalid, match="since lies after until"):
        floor.scores(since=floor.now + timedelta(days=1))


def test_a_shop_that_showed_nothing_has_no_scores(floor):
    assert floor.scores().scores == ()


def test_keeping_a_whole_plan_at_once_keeps_it_once(floor):
    floor.mount()
    floor.make(20)
    with floor.store.write() as tx:
        plan = plan_shop(tx, floor.now)
        kept = [keep_all(tx, plan.expected) for _ in range(2)]

    assert kept == [1, 0]
