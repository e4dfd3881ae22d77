"""Mounting: right or wrong at once, what to key in, and nothing in two places."""

from __future__ import annotations

import threading
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from crib.acts.mount_tool import MountTool, mount_tool
from crib.errors import (
    AlreadyMounted,
    BadCode,
    DoesNotFit,
    Invalid,
    NotKnown,
    Refusal,
    StationOccupied,
)
from crib.records.catalogue import HOLDERS, MACHINES, RUNS, STATIONS, TOOL_SPECS
from crib.store.engine import Store
from crib.store.records import update_record
from tests.gauges import checked_gauge


def change(acts: Any, record: Any, key: str, **values: Any) -> None:
    update_record(acts.tx, record, acts.shop.ids[record.name][key], values)


def slugs(refusal: pytest.ExceptionInfo[DoesNotFit]) -> list[str]:
    return [error["slug"] for error in refusal.value.errors]


def test_a_mount_says_what_to_key_in(acts: Any) -> None:
    mounted = acts.mount(acts.ready(), by="B2")

    # X = 2 (datum 10.0000 + WF 16.0005), Z = datum 25.0000 - LF 80.0010
    assert [(one.axis, one.text) for one in mounted.offsets] == [
        ("X", "+52.001"),
        ("Z", "-55.001"),
    ]
    x, z = mounted.offsets
    assert x.on_diameter
    assert x.expanded_uncertainty_mm == pytest.approx(2 * z.expanded_uncertainty_mm)
    assert (mounted.tip_orientation, mounted.nose_radius_tenths_um) == (3, 8_000)
    assert mounted.cutter_status == "ALLOCATED"
    assert mounted.block is not None
    assert "G10 L1 P1 X+52.001 Z-55.001 R0.800 Q3" in mounted.block
    assert "PROVE THE OFFSET FIRST" in mounted.block
    assert any("Prove the offset" in caution for caution in mounted.cautions)
    assert any("twice the distance" in caution for caution in mounted.cautions)


def test_offsets_are_those_that_the_control_can_hold(acts: Any) -> None:
    change(acts, MACHINES, "M1", offset_increment_mm=100)

    mounted = acts.mount(acts.ready())

    assert [one.text for one in mounted.offsets] == ["+52.00", "-55.00"]
    assert acts.one("SELECT offset_x_tenths_um FROM mounts") == 520_000


def test_an_inch_control_gets_inches(acts: Any) -> None:
    change(acts, MACHINES, "M1", offset_unit="in", offset_increment_mm=None)

    mounted = acts.mount(acts.ready())

    assert [one.text for one in mounted.offsets] == ["+2.04728", "-2.16539"]
    assert "G20" in (mounted.block or "")
    assert any("inches" in caution for caution in mounted.cautions)


def test_a_template_of_the_shop_fills_the_block(acts: Any) -> None:
    change(acts, MACHINES, "M1", block_template="OFS $register $x $z\n")

    mounted = acts.mount(acts.ready())

    assert mounted.block is not None
    assert mounted.block.endswith("OFS 1 +52.001 -55.001\n")


def test_a_broken_template_keeps_no_tool_out_of_the_machine(acts: Any) -> None:
    change(acts, MACHINES, "M1", block_template="OFS $nonsense\n")

    mounted = acts.mount(acts.ready())

    assert mounted.block is None
    assert "nonsense" in (mounted.block_problem or "")


def test_the_difference_is_to_what_the_control_held_last(acts: Any) -> None:
    from crib.acts.correct_offset import CorrectOffset, correct_offset

    acts.mount(acts.ready())
    step = CorrectOffset("M1/T01", "X", -120, "first_off", at=acts.at(5))
    correct_offset(acts.tx, acts.present, step)
    acts.remove(60)
    second = acts.preset(
        acts.build(61, "TH-2").code, 62, [acts.reading(800_510, 160_105)] * 3
    ).code

    mounted = acts.mount(second, 63)

    assert [(one.axis, one.change_tenths_um) for one in mounted.differences] == [
        # 52.0210 - 0.0110 against 52.0010 - 0.0120: the datum learned 11 µm of the 12
        ("X", 210),
        ("Z", -500),
    ]
    assert mounted.was_there is not None


def test_the_lowest_speed_limit_is_told(acts: Any) -> None:
    change(acts, STATIONS, "M1/T01", max_rpm=8_000.0)
    change(acts, TOOL_SPECS, "TURN-OD", max_rpm=6_000.0)

    mounted = acts.mount(acts.ready())

    assert mounted.limited_to_rpm == 6_000
    assert any("6000 rpm" in caution for caution in mounted.cautions)


def test_the_wrong_station_is_refused_and_the_right_one_named(acts: Any) -> None:
    code = acts.ready()

    with pytest.raises(DoesNotFit, match="belongs in T01") as refusal:
        acts.mount(code, station="M1/T02")

    assert slugs(refusal) == ["wrong-station"]


def test_every_mismatch_is_named_at_once(acts: Any) -> None:
    acts.mount(acts.ready())
    code = acts.ready(0, "DH-1")
    change(acts, HOLDERS, "DH-1", condition="lent")

    with pytest.raises(DoesNotFit) as refusal:
        acts.mount(code, 3, scanned_station="M1/T02", scanned_assembly="TH-1")

    assert slugs(refusal) == [
        "scanned-differs",
        "scanned-differs",
        "wrong-station",
        "holder-out-of-service",
        "station-occupied",
        "wrong-interface",
        "wrong-kind",
        "measure-missing",
    ]
    assert acts.one("SELECT count(*) FROM mounts") == 1


def test_a_label_of_an_earlier_preset_is_refused(acts: Any) -> None:
    old = acts.ready()
    new = acts.preset(old, 5).code

    with pytest.raises(DoesNotFit, match=new) as refusal:
        acts.mount(old, 6)

    assert slugs(refusal) == ["earlier-label"]


def test_an_earlier_label_found_by_the_scanner_is_refused_too(acts: Any) -> None:
    old = acts.ready()
    new = acts.preset(old, 5).code

    with pytest.raises(DoesNotFit) as refusal:
        acts.mount(new, 6, scanned_assembly=old)

    assert slugs(refusal) == ["earlier-label"]


def test_scans_that_agree_are_taken_in_every_spelling(acts: Any) -> None:
    code = acts.ready()
    station = acts.shop.codes["stations"]["M1/T01"]

    mounted = acts.mount(
        f"https://crib.example/C/{code}".lower(),
        scanned_station=f"HTTPS://CRIB.EXAMPLE/C/{station}",
        scanned_assembly=code.lower(),
    )

    assert mounted.station_code == station


def test_a_scan_of_something_unknown_differs(acts: Any) -> None:
    with pytest.raises(DoesNotFit) as refusal:
        acts.mount(acts.ready(), scanned_station="no such thing")

    assert slugs(refusal) == ["scanned-differs"]


def test_a_tool_that_was_never_measured_is_refused(acts: Any) -> None:
    with pytest.raises(DoesNotFit, match="never measured"):
        acts.mount(acts.build().code)


def test_a_preset_that_is_void_is_refused(acts: Any) -> None:
    code = acts.ready()
    acts.present = acts.at(91 * 24 * 60)

    with pytest.raises(DoesNotFit) as refusal:
        acts.mount(code, 91 * 24 * 60)

    assert slugs(refusal) == ["preset-void"]


def test_an_occupied_station_is_refused(acts: Any) -> None:
    acts.mount(acts.ready())
    second = acts.ready(0, "TH-2")

    with pytest.raises(StationOccupied, match="M1/T01"):
        acts.mount(second, 3)


def test_a_repeated_scan_mounts_once(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)

    with pytest.raises(AlreadyMounted, match="M1/T01"):
        acts.mount(code, 3)
    assert acts.one("SELECT count(*) FROM mounts") == 1


def test_a_tool_sits_in_one_station_only(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)

    with pytest.raises(AlreadyMounted):
        acts.mount(code, 3, station="M2/T01")


def test_a_station_that_needs_a_measure_that_was_not_taken_is_refused(acts: Any) -> None:
    code = acts.ready()
    change(acts, STATIONS, "M1/T01", axis_y="+HF")

    with pytest.raises(DoesNotFit, match="HF for axis Y") as refusal:
        acts.mount(code)

    assert slugs(refusal) == ["measure-missing"]


def test_a_program_that_turns_too_fast_for_the_tool_is_refused(acts: Any) -> None:
    acts.tx.exec_driver_sql("UPDATE operations SET spindle_rpm = 9000 WHERE tool_number = 1")
    change(acts, TOOL_SPECS, "TURN-OD", max_rpm=3_000.0)

    with pytest.raises(DoesNotFit, match="3000 rpm") as refusal:
        acts.mount(acts.ready())

    assert slugs(refusal) == ["too-fast"]


def test_the_next_run_counts_where_none_is_on(acts: Any) -> None:
    run = next(iter(acts.shop.ids["runs"].values()))
    update_record(acts.tx, RUNS, run, {"state": "planned"})

    with pytest.raises(DoesNotFit, match="uses no tool there"):
        acts.mount(acts.ready(), station="M1/T02")


def test_without_any_run_nothing_is_expected(acts: Any) -> None:
    assert acts.mount(acts.ready(), station="M2/T01").station == "M2/T01"


def test_a_mount_told_late_fits_behind_what_is_on_record(acts: Any) -> None:
    acts.mount(acts.ready(), 10)
    acts.remove(60)
    code = acts.ready(5, "TH-2")

    with pytest.raises(DoesNotFit) as refusal:
        acts.mount(code, 59)

    assert slugs(refusal) == ["too-early"]
    assert acts.mount(code, 60).at == acts.at(60)


def test_a_mount_before_its_preset_is_refused(acts: Any) -> None:
    code = acts.ready(10)

    with pytest.raises(DoesNotFit) as refusal:
        acts.mount(code, 9)

    assert slugs(refusal) == ["too-early"]


def test_a_part_count_goes_in_as_a_reading(acts: Any) -> None:
    mounted = acts.mount(acts.ready(), part_count=120)

    assert mounted.part_count_refused is None
    assert acts.one("SELECT count FROM count_readings") == 120


def test_a_part_count_that_cannot_be_is_kept_aside_and_the_mount_stands(acts: Any) -> None:
    acts.counts((0, 100))

    mounted = acts.mount(acts.ready(), part_count=5_000)

    assert "5000" in (mounted.part_count_refused or "")
    assert acts.one("SELECT count(*) FROM count_refusals") == 1
    with pytest.raises(Invalid, match="part count"):
        acts.mount(acts.ready(3, "TH-2"), 4, station="M2/T01", part_count=-1)


def test_a_tool_that_cut_before_goes_back_in_with_a_word_of_caution(acts: Any) -> None:
    code = acts.ready()
    acts.counts((0, 0), (60, 60))
    acts.mount(code, 0)
    acts.remove(30, "job change")

    mounted = acts.mount(code, 40)

    assert mounted.cautions[0].startswith("This edge has cut before: 30 parts")


def test_mistyped_and_unknown_codes_are_told_apart(acts: Any) -> None:
    code = acts.ready()

    with pytest.raises(BadCode):
        acts.mount(code[:-1] + ("0" if code[-1] != "0" else "1"))
    with pytest.raises(NotKnown, match="M9/T01"):
        acts.mount(code, station="M9/T01")
    with pytest.raises(NotKnown, match="names no tool assembly"):
        acts.mount("nothing")
    with pytest.raises(NotKnown, match="is not built"):
        acts.mount("TH-2")


def test_two_who_mount_into_one_station_at_once_get_one_yes(
    shop: SimpleNamespace, store: Store
) -> None:
    from crib.acts.build_assembly import BuildAssembly, build_assembly
    from crib.acts.preset_tool import PresetTool, preset_tool
    from crib.metrology.preset import Reading
    from crib.units import TenthsUm

    codes = []
    for holder in ("TH-1", "TH-2"):
        with store.write() as tx:
            built = build_assembly(tx, shop.start, BuildAssembly("TURN-OD", holder, "LOT-I1"))
            readings = [Reading(TenthsUm(800_000), TenthsUm(160_000))] * 3
            gauge = checked_gauge(tx, shop.start)
            preset_tool(tx, shop.start, PresetTool(built.code, readings, gauge))
            codes.append(built.code)
    answers: list[str] = []
    gate = threading.Barrier(2)

    def mount(code: str) -> None:
        gate.wait()
        try:
            with store.write() as tx:
                mount_tool(tx, shop.start + timedelta(minutes=1), MountTool("M1/T01", code))
            answers.append("mounted")
        except Refusal as refusal:
            answers.append(refusal.kind)

    threads = [threading.Thread(target=mount, args=(code,)) for code in codes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(answers) == ["mounted", "station-occupied"]
    with store.read() as tx:
        assert tx.exec_driver_sql("SELECT count(*) FROM mounts").scalar_one() == 1
