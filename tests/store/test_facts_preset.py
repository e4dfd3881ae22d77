"""Presets: the newest one counts, and an earlier label scans as what it is."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from crib.acts.check_gauge import CheckGauge, GaugeChecked, check_gauge_on_master
from crib.acts.gauge_trust import Override
from crib.errors import Conflict, DoesNotFit, Invalid, NotAllowed
from crib.metrology.preset import Reading
from crib.records.catalogue import STATIONS
from crib.store.presets import latest_preset
from crib.store.records import update_record
from crib.units import TenthsUm
from crib.views.scan_code import scan_code


def check(acts: Any, minutes: float, off_tenths_um: int = 0) -> GaugeChecked:
    readings = [
        Reading(TenthsUm(1_000_000 + off_tenths_um + k), TenthsUm(500_000 + k))
        for k in (-1, 0, 1)
    ]
    command = CheckGauge("PG-1", readings, at=acts.at(minutes))
    return check_gauge_on_master(acts.tx, acts.present, command)


def test_the_first_accepted_preset_goes_onto_the_label_that_the_tool_has(acts: Any) -> None:
    built = acts.build()

    done = acts.preset(built.code)

    assert done.accepted
    assert (done.code, done.superseded_code) == (built.code, None)
    assert done.cutter_status == "AVAILABLE"
    assert {one.measure: one.mean_tenths_um for one in done.measures} == {
        "LF": 800_010,
        "WF": 160_005,
    }
    assert done.void_after == acts.at(1) + timedelta(days=90)


def test_a_later_preset_voids_the_label_of_the_earlier_one(acts: Any) -> None:
    code = acts.ready()

    done = acts.preset(code, 5)

    assert done.superseded_code == code
    assert done.code != code
    old = scan_code(acts.tx, acts.present, code)
    assert old.superseded_at == acts.at(5)
    assert old.code == done.code
    assert done.code in old.sentence
    assert scan_code(acts.tx, acts.present, done.code).superseded_at is None


def test_a_preset_that_is_not_accepted_keeps_the_tool_out_of_the_machine(acts: Any) -> None:
    code = acts.ready()

    done = acts.preset(code, 5, [acts.reading(805_000)] * 3)

    assert not done.accepted
    assert done.cutter_status == "MEASURED"
    assert done.superseded_code == code
    assert any("LF" in sentence for sentence in done.why_not)
    with pytest.raises(DoesNotFit, match="was not accepted"):
        acts.mount(done.code, 6)


def test_each_preset_after_an_accepted_one_gives_a_new_label(acts: Any) -> None:
    codes = [acts.ready()]
    for minutes in (5, 6):
        codes.append(acts.preset(codes[-1], minutes).code)

    assert len(set(codes)) == 3
    for old in codes[:2]:
        assert scan_code(acts.tx, acts.present, old).code == codes[2]


def test_only_an_accepted_preset_is_the_one_that_a_tool_has(acts: Any) -> None:
    code = acts.ready()
    assert acts.one("SELECT preset_id FROM assembly_state") is not None

    acts.preset(code, 5, [acts.reading(805_000)] * 3)

    assert acts.one("SELECT preset_id FROM assembly_state") is None


def test_presets_until_the_first_accepted_one_keep_the_label(acts: Any) -> None:
    built = acts.build()

    failed = acts.preset(built.code, 1, [acts.reading(805_000)] * 3)
    done = acts.preset(built.code, 2)

    assert failed.code == done.code == built.code
    assert done.accepted


def test_a_gauge_that_was_not_checked_is_not_believed(acts: Any) -> None:
    built = acts.build()

    done = acts.preset(built.code, gauge="PG-1")

    assert not done.accepted
    assert "check the gauge on the setting master first" in done.why_not[0].lower()


@pytest.mark.parametrize(("minutes", "accepted"), [(24 * 60, True), (24 * 60 + 1, False)])
def test_a_gauge_check_counts_for_its_hours(acts: Any, minutes: float, accepted: bool) -> None:
    check(acts, 0)
    built = acts.build()

    assert acts.preset(built.code, minutes, gauge="PG-1").accepted is accepted


def test_the_newest_check_of_a_gauge_is_the_one_that_counts(acts: Any) -> None:
    assert check(acts, 0).valid
    failed = check(acts, 5, off_tenths_um=400)
    built = acts.build()

    assert not failed.valid
    assert failed.valid_until is None
    assert not acts.preset(built.code, 6, gauge="PG-1").accepted
    assert acts.preset(built.code, 6).accepted  # no gauge named


def test_a_gauge_without_that_master_cannot_be_checked(acts: Any) -> None:
    readings = [Reading(None, None, TenthsUm(100))]

    with pytest.raises(Invalid, match="master_hf_mm"):
        check_gauge_on_master(acts.tx, acts.present, CheckGauge("PG-1", readings))
    with pytest.raises(Invalid, match="no readings"):
        check_gauge_on_master(acts.tx, acts.present, CheckGauge("PG-1", []))
    mixed = [Reading(TenthsUm(1_000_000)), Reading(TenthsUm(1_000_000), TenthsUm(500_000))]
    with pytest.raises(Invalid, match="other lengths"):
        check_gauge_on_master(acts.tx, acts.present, CheckGauge("PG-1", mixed))


def test_a_mounted_tool_cannot_be_measured(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)

    with pytest.raises(Conflict, match="sits in station M1/T01"):
        acts.preset(code, 5)


def test_a_tool_that_is_over_cannot_be_measured(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    acts.remove(60)

    with pytest.raises(Conflict, match="has ended"):
        acts.preset(code, 61)


def test_a_preset_before_the_build_is_refused(acts: Any) -> None:
    built = acts.build(10)

    with pytest.raises(Conflict, match="too early"):
        acts.preset(built.code, 9)


def test_readings_that_cannot_be_meant_are_refused(acts: Any) -> None:
    built = acts.build()

    with pytest.raises(Invalid, match="no readings"):
        acts.preset(built.code, readings=[])
    with pytest.raises(Invalid, match="WF"):
        acts.preset(built.code, readings=[acts.reading(800_000, None)])
    with pytest.raises(Invalid, match="radius 0"):
        acts.preset(built.code, readings=[acts.reading(re=0)])
    assert acts.one("SELECT count(*) FROM presets") == 0


def test_the_repeats_are_kept_one_by_one(acts: Any) -> None:
    built = acts.build()
    acts.preset(built.code)

    rows = acts.tx.exec_driver_sql(
        "SELECT lf_tenths_um, wf_tenths_um FROM preset_readings ORDER BY position"
    ).fetchall()

    assert [tuple(row) for row in rows] == [
        (800_010, 160_005),
        (800_012, 160_003),
        (800_008, 160_007),
    ]


def test_the_holder_names_the_tool_that_is_built_on_it(acts: Any) -> None:
    built = acts.build()

    assert acts.preset("TH-1").code == built.code


SUPERVISOR = Override("B3", "master is out for calibration")


def test_where_the_shop_has_a_gauge_a_preset_names_one(acts: Any) -> None:
    built = acts.build()

    done = acts.preset(built.code, gauge=None)

    assert not done.accepted
    assert done.why_not == ("No gauge was named: scan the gauge that it was measured on.",)


def test_without_any_gauge_on_record_none_is_asked_for(acts: Any) -> None:
    acts.tx.exec_driver_sql("UPDATE gauges SET retired_at = 1")
    built = acts.build()

    assert acts.preset(built.code, gauge=None).accepted


@pytest.mark.parametrize("gauge", ["PG-1", None])
def test_a_supervisor_lets_a_preset_count_without_a_checked_gauge(
    acts: Any, gauge: str | None
) -> None:
    built = acts.build()

    done = acts.preset(built.code, gauge=gauge, override=SUPERVISOR)

    assert done.accepted
    assert done.overridden is not None
    assert (done.overridden.by, done.overridden.reason) == ("Sunniva Brask", SUPERVISOR.reason)
    assert len(done.overridden.problems) == 1
    shown = scan_code(acts.tx, acts.present, done.code)
    assert shown.tool is not None
    assert shown.tool.gauge_override == done.overridden.sentence
    kept = latest_preset(acts.tx, acts.one("SELECT fact_id FROM assemblies"))
    assert kept is not None
    assert (kept.override_by, kept.override_reason) == ("Sunniva Brask", SUPERVISOR.reason)
    acts.mount(done.code)


def test_an_override_does_not_let_a_wrong_measure_pass(acts: Any) -> None:
    built = acts.build()

    done = acts.preset(
        built.code, readings=[acts.reading(805_000)] * 3, gauge="PG-1", override=SUPERVISOR
    )

    assert not done.accepted
    assert all("Gauge" not in sentence for sentence in done.why_not)


def test_an_override_that_nothing_needed_leaves_no_trace(acts: Any) -> None:
    built = acts.build()

    done = acts.preset(built.code, override=SUPERVISOR)

    assert done.accepted
    assert done.overridden is None
    assert acts.one("SELECT count(*) FROM preset_overrides") == 0


@pytest.mark.parametrize("badge", ["B1", "B2"])
def test_only_a_supervisor_overrides(acts: Any, badge: str) -> None:
    built = acts.build()

    with pytest.raises(NotAllowed, match="only a supervisor"):
        acts.preset(built.code, gauge="PG-1", override=Override(badge, "no time"))
    assert acts.one("SELECT count(*) FROM presets") == 0


@pytest.mark.parametrize("reason", ["", "  ", "x" * 501])
def test_an_override_says_why(acts: Any, reason: str) -> None:
    built = acts.build()

    with pytest.raises(Invalid, match="reason"):
        acts.preset(built.code, gauge="PG-1", override=Override("B3", reason))
    assert acts.one("SELECT count(*) FROM presets") == 0


def needs_hf(acts: Any, *stations: str) -> None:
    for station in stations:
        number = acts.shop.ids["stations"][station]
        update_record(acts.tx, STATIONS, number, {"axis_y": "+HF"})


def with_hf() -> list[Reading]:
    return [Reading(TenthsUm(800_010), TenthsUm(160_005), TenthsUm(100_000))] * 3


def test_a_preset_that_lacks_what_its_planned_station_needs_is_not_accepted(acts: Any) -> None:
    built = acts.build()  # the running job uses its spec in M1/T01 alone
    needs_hf(acts, "M1/T01")

    without = acts.preset(built.code)
    assert (without.accepted, without.why_not) == (
        False,
        ("HF was not measured, and station M1/T01 needs it for its offsets: measure HF as "
         "well.",),
    )  # fmt: skip
    full = acts.preset(built.code, 2, with_hf())

    assert (full.accepted, full.cautions) == (True, ())
    assert acts.mount(full.code, 3).code == full.code


def test_a_preset_that_one_of_its_stations_cannot_use_says_which(acts: Any) -> None:
    built = acts.build()
    acts.tx.exec_driver_sql(
        "INSERT INTO runs (machine_id, part_id, quantity, state)"
        " SELECT m.id, part_id, quantity, 'planned' FROM runs, machines m WHERE machine = 'M2'"
    )
    needs_hf(acts, "M2/T01")

    done = acts.preset(built.code)

    assert done.accepted
    assert done.cautions == (
        "HF was not measured, and station M2/T01 needs it for its offsets: measure HF as well "
        "if it may go there.",
    )


def test_without_a_job_the_stations_of_its_programs_count_and_then_all_that_take_it(
    acts: Any,
) -> None:
    built = acts.build()
    acts.tx.exec_driver_sql("UPDATE runs SET state = 'done'")
    needs_hf(acts, "M1/T01", "M1/T02")
    # programs call it under tool number 1, on either machine
    assert "station M1/T01 needs it" in acts.preset(built.code).cautions[0]

    needs_hf(acts, "M2/T01")
    assert "stations M1/T01, M2/T01 need it" in acts.preset(built.code, 2).why_not[0]

    acts.tx.exec_driver_sql("DELETE FROM operations")
    done = acts.preset(built.code, 3)
    assert "stations M1/T01, M1/T02, M2/T01 need it" in done.why_not[0]
