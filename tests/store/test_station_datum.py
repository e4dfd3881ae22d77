"""What first-offs teach a station: the next offset, jumps held apart, facts of the past."""

from __future__ import annotations

from typing import Any

import pytest

from crib.acts.correct_offset import CorrectOffset, OffsetCorrected, correct_offset
from crib.acts.mount_tool import ToolMounted
from crib.acts.name_cause import residuals_of
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.records.catalogue import STATIONS
from crib.store.first_offs import first_offs_of_shop
from crib.store.records import update_record
from crib.views.show_datum import StationDatum, show_datum


def step(
    acts: Any, minutes: float, change: int, axis: str = "X", station: str = "M1/T01"
) -> OffsetCorrected:
    command = CorrectOffset(station, axis, change, "first_off", at=acts.at(minutes))
    return correct_offset(acts.tx, acts.present, command)


def show(acts: Any, minutes: float | None = None) -> StationDatum:
    as_of = acts.present if minutes is None else acts.at(minutes)
    return show_datum(acts.tx, as_of, "M1/T01")


def x_of(shown: StationDatum) -> Any:
    return next(one for one in shown.axes if one.datum.axis == "X")


def x_told(mounted: ToolMounted) -> int:
    return next(one.value_tenths_um for one in mounted.offsets if one.axis == "X")


class Swaps:
    """Tools one after another in M1/T01, each with a first-off on X; an hour apart."""

    def __init__(self, acts: Any) -> None:
        self.acts, self.minute = acts, 0
        self.codes: list[str] = []

    def swap(self, change: int | None, holder: str = "TH-1") -> ToolMounted:
        acts = self.acts
        if self.minute:
            acts.remove(self.minute)
        code = acts.ready(self.minute, holder)
        mounted: ToolMounted = acts.mount(code, self.minute + 1)
        if change is not None:
            self.learned = step(acts, self.minute + 2, change)
        self.minute += 60
        return mounted


@pytest.fixture
def swaps(acts: Any) -> Swaps:
    return Swaps(acts)


def test_the_next_tool_is_told_what_the_first_offs_taught(swaps: Swaps) -> None:
    first = swaps.swap(-300)  # 0.0300 on diameter: the datum lies 0.0150 farther in
    second = swaps.swap(0)

    # 0.0150 of radius on diameter, less what the datum on record still weighs: one first-off
    # may be scatter of the mounting
    assert x_told(first) == 520_010
    assert x_told(second) == pytest.approx(520_010 - 300, abs=30)
    told = x_of(show(swaps.acts))
    assert told.datum.datum_mm == pytest.approx(10 - 0.0150, abs=0.0005)
    assert [look.verdict for look in told.history] == ["taken", "taken"]


def test_what_is_keyed_in_is_rounded_once_and_stored_as_told(swaps: Swaps) -> None:
    swaps.swap(-130)
    second = swaps.swap(None)

    x = next(one for one in second.offsets if one.axis == "X")
    assert x.value_tenths_um % 10 == 0  # the control steps by 0.001 mm
    assert x.text == f"+{x.value_tenths_um // 10_000}.{x.value_tenths_um % 10_000 // 10:03d}"
    newest = "SELECT offset_x_tenths_um FROM mounts ORDER BY fact_id DESC LIMIT 1"
    assert swaps.acts.one(newest) == x.value_tenths_um


def test_the_uncertainty_grows_by_the_datums_once_it_is_known(swaps: Swaps) -> None:
    plain = swaps.swap(0)
    more = swaps.swap(None)

    before, after = (
        next(one.expanded_uncertainty_mm for one in told.offsets if one.axis == "X")
        for told in (plain, more)
    )
    assert before is not None
    assert after is not None
    # one first-off does not tell how far mountings scatter, nor whether the seat wanders
    assert before < after < 0.25
    assert plain.datum[0].first_offs == 0
    assert "no first-off yet" in plain.datum[0].sentence


def test_a_jump_is_called_out_held_apart_and_taken_once_confirmed(swaps: Swaps) -> None:
    for change in (20, -10, 10):
        swaps.swap(change)
    quiet = x_told(swaps.swap(0))
    swaps.swap(1_000, "TH-2")
    jumped = swaps.learned

    assert "Station moved?" in jumped.learned
    assert "is not clear yet" in jumped.learned
    assert jumped.datum is not None
    assert jumped.datum.doubtful

    doubtful = swaps.swap(1_000)
    assert x_told(doubtful) == pytest.approx(quiet, abs=20)  # not swallowed
    assert any("Station moved?" in caution for caution in doubtful.cautions)
    assert "taken as a step" in swaps.learned.learned
    assert "station M1/T01 moved" in swaps.learned.learned

    after = swaps.swap(None)
    assert x_told(after) == pytest.approx(quiet + 1_000, abs=20)
    assert not any("Station moved?" in caution for caution in after.cautions)
    history = [look.verdict for look in x_of(show(swaps.acts)).history]
    assert history[-3:] == ["confirmed", "taken_as_step", "none"]


def test_the_past_is_shown_from_the_facts_of_then(swaps: Swaps) -> None:
    swaps.swap(-300)
    swaps.swap(100)

    then = x_of(show(swaps.acts, 30))
    now = x_of(show(swaps.acts))

    assert (len(then.history), len(now.history)) == (1, 2)
    assert then.datum.datum_mm < now.datum.datum_mm
    assert then.history[0] == now.history[0]


def test_a_first_off_that_was_taken_back_teaches_nothing(swaps: Swaps) -> None:
    swaps.swap(-300)
    command = ReverseFact(swaps.learned.fact_id)
    reverse_fact(swaps.acts.tx, swaps.acts.present, command)

    told = x_of(show(swaps.acts))

    assert told.datum.first_offs == 0
    assert told.datum.datum_mm == pytest.approx(10, abs=1e-9)
    assert x_told(swaps.swap(None)) == 520_010


def test_several_steps_of_one_first_off_are_one_look(swaps: Swaps) -> None:
    swaps.swap(-200)
    step(swaps.acts, swaps.minute - 57, -100)

    told = x_of(show(swaps.acts))

    assert told.datum.first_offs == 1
    assert told.history[0].step_tenths_um == -300
    assert told.history[0].datum_seen_mm == pytest.approx(10 - 0.0150, abs=1e-9)


def test_a_new_datum_on_record_counts_from_then_on(swaps: Swaps) -> None:
    swaps.swap(-300)
    station = swaps.acts.shop.ids["stations"]["M1/T01"]
    update_record(swaps.acts.tx, STATIONS, station, {"datum_x_mm": 102_000})

    moved = swaps.swap(20)
    told = x_of(show(swaps.acts))

    assert x_told(moved) == 524_010
    assert told.datum.first_offs == 1
    assert told.set_aside == 1
    assert told.datum.datum_mm == pytest.approx(10.201, abs=0.0005)


def test_a_mapping_that_was_changed_under_a_tool_still_takes_its_correction(
    swaps: Swaps,
) -> None:
    swaps.swap(None)
    station = swaps.acts.shop.ids["stations"]["M1/T01"]

    for gone in ({"axis_x": "+HF"}, {"axis_x": None, "datum_x_mm": None}):
        update_record(swaps.acts.tx, STATIONS, station, gone)
        learned = step(swaps.acts, 10, 20)
        assert "record was changed since" in learned.learned

    assert learned.datum is None


def test_each_axis_is_on_its_own(swaps: Swaps) -> None:
    swaps.swap(-300)

    z = next(one for one in show(swaps.acts).axes if one.datum.axis == "Z")

    assert z.datum.first_offs == 0
    assert z.cause is None


def test_a_first_off_that_was_right_as_it_came_is_a_look_too(swaps: Swaps) -> None:
    swaps.swap(0)

    assert " lay 0.000 mm on diameter off" in swaps.learned.learned
    assert x_of(show(swaps.acts)).datum.first_offs == 1


def test_many_jumps_in_two_stations_name_the_holder(acts: Any) -> None:
    minute = 0
    for number in range(16):
        station, holder = f"M{1 + number % 2}/T01", ("TH-1", "TH-2")[number // 2 % 2]
        code = acts.ready(minute, holder)
        acts.mount(code, minute + 1, station=station)
        off = 800 if holder == "TH-2" and number > 5 else 0
        learned = step(acts, minute + 2, off - told_beyond_record(acts), station=station)
        acts.remove(minute + 50, station=station)
        minute += 60

    assert learned.datum is not None
    cause = next(
        one.cause
        for one in show_datum(acts.tx, acts.present, station).axes
        if one.datum.axis == "X"
    )
    assert cause is not None
    assert "the seat of holder TH-2 is worn" in cause
    assert cause.startswith("Most likely")


def test_a_window_on_the_newest_first_offs_still_knows_the_record(swaps: Swaps) -> None:
    for change in (-300, 0, 10, -10, 0):
        swaps.swap(change)
    acts = swaps.acts

    rows = first_offs_of_shop(acts.tx, acts.present, 3)
    residuals = residuals_of(acts.tx, rows, "WF", acts.present)

    assert [one.residual_mm for _, one in residuals] == pytest.approx([-0.015] * 3, abs=0.0015)
    assert {one.holder for _, one in residuals} == {"TH-1"}


def told_beyond_record(acts: Any) -> int:
    """By how much the last offset told on X differs from the datum on record [0.1 µm]."""
    found: int = acts.one(
        "SELECT m.offset_x_tenths_um - 2 * (100000 + p.wf_tenths_um) FROM mounts AS m"
        " JOIN presets AS p ON p.fact_id = m.preset_id ORDER BY m.fact_id DESC LIMIT 1"
    )
    return found // 10 * 10
