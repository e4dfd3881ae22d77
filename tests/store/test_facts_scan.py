"""Scans and lists: what a code is, what may be done next, what is on record."""

from __future__ import annotations

from typing import Any

import pytest

from crib.acts.correct_offset import CorrectOffset, correct_offset
from crib.acts.move_stock import MoveStock, move_stock
from crib.acts.report_stop import ReportStop, report_stop
from crib.acts.tear_down import TearDown, tear_down
from crib.codes import make_code
from crib.errors import BadCode, Invalid, NotKnown
from crib.views.queries import (
    ASSEMBLIES,
    CORRECTIONS,
    COUNT_BATCHES,
    GAUGE_CHECKS,
    MOUNTS,
    PRESETS,
    REFUSED_COUNTS,
    REMOVALS,
    STOCK_MOVES,
    STOPS,
    TEARDOWNS,
    list_facts,
)
from crib.views.scan_code import scan_code
from crib.views.scan_shapes import Scan
from crib.views.show_assembly import show_assembly


def scan(acts: Any, text: str, minutes: float = 100) -> Scan:
    return scan_code(acts.tx, acts.at(minutes), text)


def slugs(found: Scan) -> list[str]:
    return [act.slug for act in found.acts]


def test_a_tool_may_be_what_its_state_allows(acts: Any) -> None:
    built = acts.build()
    assert slugs(scan(acts, built.code)) == ["preset", "tear-down"]

    acts.preset(built.code)
    ready = scan(acts, built.code)
    assert slugs(ready) == ["mount", "print-label", "preset", "tear-down"]
    assert ready.acts[0].body == {"assembly": built.code}
    assert "ready to be mounted" in ready.sentence

    acts.mount(built.code)
    mounted = scan(acts, built.code)
    assert slugs(mounted) == ["remove", "correct", "print-label"]
    assert "sits in M1/T01" in mounted.sentence

    acts.remove(60)
    assert slugs(scan(acts, built.code)) == ["build"]


def test_a_mounted_tool_shows_what_the_control_holds(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    command = CorrectOffset("M1/T01", "X", -120, "first_off", acts.at(5))
    correct_offset(acts.tx, acts.present, command)

    tool = scan(acts, code).tool

    assert tool is not None
    assert [(one.axis, one.text, one.on_diameter) for one in tool.offsets] == [
        ("X", "+51.989", True),
        ("Z", "-55.001", False),
    ]
    assert (tool.station, tool.tool_number, tool.mounted_at) == ("M1/T01", 1, acts.at(2))
    assert (tool.holder, tool.lot, tool.edge, tool.edges) == ("TH-1", "LOT-I1", 1, 4)


def test_a_tool_whose_preset_is_void_is_to_be_measured(acts: Any) -> None:
    found = scan(acts, acts.ready(), 91 * 24 * 60)

    assert "mount" not in slugs(found)
    assert "expired" in found.sentence


def test_a_tool_measured_in_vain_says_why(acts: Any) -> None:
    built = acts.build()
    acts.preset(built.code, readings=[acts.reading(805_000)] * 3)

    found = scan(acts, built.code)

    assert "not accepted" in found.sentence
    assert "mount" not in slugs(found)


def test_an_earlier_label_leads_to_the_one_of_now_only(acts: Any) -> None:
    old = acts.ready()
    new = acts.preset(old, 5).code

    found = scan(acts, old)

    assert (found.code, found.superseded_at) == (new, acts.at(5))
    assert [act.path for act in found.acts] == [f"/v1/labels/{new}.pdf"]


def test_a_station_says_what_belongs_there(acts: Any) -> None:
    empty = scan(acts, "M1/T01")
    assert (empty.kind, slugs(empty)) == ("S", ["mount"])
    assert "expects TURN-OD" in empty.sentence
    assert "uses no tool" in scan(acts, "M1/T02").sentence
    assert "no run" in scan(acts, "M2/T01").sentence

    code = acts.ready()
    acts.mount(code)
    full = scan(acts, acts.shop.codes["stations"]["M1/T01"])

    assert full.station is not None
    assert full.station.holds is not None
    assert (full.station.holds.code, slugs(full)) == (code, ["remove", "correct"])


def test_a_holder_says_what_it_is_built_as(acts: Any) -> None:
    assert slugs(scan(acts, "TH-1")) == ["build"]
    assert slugs(scan(acts, "TH-3")) == []
    assert "out of service (repair)" in scan(acts, "TH-3").sentence

    code = acts.ready()
    found = scan(acts, "TH-1")

    assert found.holder is not None
    assert found.holder.built_as is not None
    assert found.holder.built_as.code == code
    assert "mount" in slugs(found)


def test_a_lot_says_what_is_left(acts: Any) -> None:
    acts.mount(acts.ready())
    acts.remove()

    lot = scan(acts, "LOT-I1").lot

    assert lot is not None
    assert (lot.on_hand, lot.free_edges, lot.edges) == (9, 3, 4)


def test_a_gauge_says_whether_it_may_be_believed(acts: Any) -> None:
    found = scan(acts, "PG-1")

    assert found.gauge is not None
    assert not found.gauge.valid
    assert slugs(found) == ["check-gauge"]


def test_a_person_is_a_person(acts: Any) -> None:
    assert scan(acts, "B1").kind == "P"
    assert scan(acts, acts.shop.codes["people"]["B1"]).mark == "B1"


def test_mistyped_codes_are_told_from_unknown_ones(acts: Any) -> None:
    with pytest.raises(BadCode, match="mistyped"):
        scan(acts, "A000010")
    with pytest.raises(NotKnown):
        scan(acts, make_code("A", 9))
    with pytest.raises(NotKnown):
        scan(acts, "no such thing")


def test_every_list_shows_its_facts(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code, 2, part_count=0)
    acts.counts((3, 900))
    command = CorrectOffset("M1/T01", "X", 100, "size", acts.at(5), "B2", "late shift")
    correct_offset(acts.tx, acts.present, command)
    acts.remove(60, "inspection")
    tear_down(acts.tx, acts.present, TearDown(code, "no longer needed", acts.at(70)))
    move_stock(acts.tx, acts.present, MoveStock("LOT-D1", "receipt", 5))
    report_stop(acts.tx, acts.present, ReportStop("M2", "no bar"))
    tx = acts.tx

    assert list_facts(tx, ASSEMBLIES).rows[0].cutter_status == "EXPIRED"
    assert list_facts(tx, PRESETS).rows[0].lf_tenths_um == 800_010
    stay = list_facts(tx, MOUNTS).rows[0]
    assert (stay.station, stay.removed_at, stay.reason) == (
        "M1/T01",
        acts.at(60),
        "inspection",
    )
    assert list_facts(tx, REMOVALS).rows[0].assembly == code
    correction = list_facts(tx, CORRECTIONS).rows[0]
    assert (correction.by, correction.note, correction.kind) == ("B2", "late shift", "size")
    assert list_facts(tx, TEARDOWNS).rows[0].reason == "no longer needed"
    assert [row.change for row in list_facts(tx, STOCK_MOVES).rows] == [-1, 5]
    assert [row.gauge for row in list_facts(tx, GAUGE_CHECKS).rows] == ["PG-1"]
    assert list_facts(tx, STOPS).rows[0].machine == "M2"
    assert [row.accepted for row in list_facts(tx, COUNT_BATCHES).rows] == [1, 0]
    refused = list_facts(tx, REFUSED_COUNTS).rows[0]
    assert (refused.reading["count"], refused.reason) == (900, "too_fast")


def test_lists_are_paged_and_filtered(acts: Any) -> None:
    codes = [acts.ready(0, "TH-1"), acts.ready(0, "TH-2"), acts.ready(0, "DH-1")]
    acts.mount(codes[0])

    first = list_facts(acts.tx, ASSEMBLIES, limit=2)
    second = list_facts(acts.tx, ASSEMBLIES, limit=2, after_id=first.next_after or 0)

    assert [row.code for row in first.rows + second.rows] == codes
    assert second.next_after is None
    mounted = list_facts(acts.tx, ASSEMBLIES, {"cutter_status": "ALLOCATED"})
    assert [row.station for row in mounted.rows] == ["M1/T01"]
    machine = acts.shop.ids["machines"]["M1"]
    assert len(list_facts(acts.tx, ASSEMBLIES, {"machine_id": machine}).rows) == 1
    assert len(list_facts(acts.tx, MOUNTS, {"machine_id": machine}, open_only=True).rows) == 1
    assert list_facts(acts.tx, MOUNTS, as_of=acts.at(1)).rows == ()
    acts.remove(60)
    assert list_facts(acts.tx, MOUNTS, open_only=True).rows == ()
    assert len(list_facts(acts.tx, ASSEMBLIES, open_only=True).rows) == 2
    with pytest.raises(Invalid, match="limit is 0"):
        list_facts(acts.tx, MOUNTS, limit=0)
    with pytest.raises(Invalid, match="stops cannot be filtered by lot_id, open_only"):
        list_facts(acts.tx, STOPS, {"lot_id": 1}, open_only=True)


def test_a_tool_is_shown_with_its_history(acts: Any) -> None:
    acts.counts((0, 0), (100, 100))
    old = acts.ready(0)
    acts.mount(old, 0)
    acts.remove(30, "inspection")
    new = acts.preset(old, 35).code
    acts.mount(new, 40)

    shown = show_assembly(acts.tx, acts.at(100), old)

    assert (shown.code, shown.superseded_code) == (new, old)
    assert [label.code for label in shown.labels] == [old, new]
    assert [(stay.removed_at, stay.wear.parts) for stay in shown.stays] == [
        (acts.at(30), 30),
        (None, 60),
    ]
    assert shown.wear.parts == 90
    assert shown.station == "M1/T01"
    assert shown.recipe.pieces[0].edge == 1
