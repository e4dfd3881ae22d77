"""Taking facts back: by a new fact that names them, never by forgetting."""

from __future__ import annotations

from typing import Any

import pytest

from crib.acts.correct_offset import CorrectOffset, correct_offset
from crib.acts.move_stock import MoveStock, Regrind, move_stock, regrind
from crib.acts.report_stop import ReportStop, report_stop
from crib.acts.reverse_fact import FactReversed, ReverseFact, reverse_fact
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import Conflict, HolderInUse, NoneLeft, NotKnown, StationOccupied
from crib.views.scan_code import scan_code


def reverse(acts: Any, fact_id: int) -> FactReversed:
    return reverse_fact(acts.tx, acts.present, ReverseFact(fact_id, by="B3", note="slip"))


def status(acts: Any, code: str) -> str:
    shown = scan_code(acts.tx, acts.present, code).tool
    assert shown is not None
    return shown.cutter_status


def test_a_mount_taken_back_frees_the_station(acts: Any) -> None:
    code = acts.ready()
    mounted = acts.mount(code)

    done = reverse(acts, mounted.fact_id)

    assert done.kind == "mount"
    assert status(acts, code) == "AVAILABLE"
    assert acts.one("SELECT count(*) FROM station_state") == 0
    assert acts.one("SELECT count(*) FROM mounts") == 1
    assert acts.mount(code, 1).code == code


def test_a_second_mount_taken_back_leaves_the_tool_used(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    acts.remove(60, "inspection")

    reverse(acts, acts.mount(code, 61).fact_id)

    assert status(acts, code) == "USED"


def test_a_mount_stands_while_something_is_built_on_it(acts: Any) -> None:
    mounted = acts.mount(acts.ready())
    step = correct_offset(
        acts.tx, acts.present, CorrectOffset("M1/T01", "X", 100, "size", acts.at(5))
    )

    with pytest.raises(Conflict, match=f"facts {step.fact_id}"):
        reverse(acts, mounted.fact_id)
    reverse(acts, step.fact_id)
    out = acts.remove(60, "inspection")
    with pytest.raises(Conflict, match=f"fact {out.fact_id}"):
        reverse(acts, mounted.fact_id)


def test_a_removal_taken_back_puts_the_tool_back(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    out = acts.remove(60, "broken")

    reverse(acts, out.fact_id)

    assert status(acts, code) == "ALLOCATED"
    assert acts.one("SELECT count(*) FROM station_state") == 1
    assert acts.one("SELECT scrapped FROM pieces") == 0
    again = acts.remove(70, "worn as planned")
    assert (again.code, again.edges[0].next_edge) == (code, 2)


def test_a_removal_stands_once_the_station_is_taken(acts: Any) -> None:
    acts.mount(acts.ready())
    out = acts.remove(60, "inspection")
    second = acts.ready(0, "TH-2")
    mounted = acts.mount(second, 61)

    with pytest.raises(StationOccupied, match=second):
        reverse(acts, out.fact_id)
    later = acts.remove(62, "inspection")
    with pytest.raises(Conflict, match="Another tool was in station"):
        reverse(acts, out.fact_id)
    reverse(acts, later.fact_id)
    reverse(acts, mounted.fact_id)
    assert reverse(acts, out.fact_id).kind == "removal"


def test_a_removal_stands_once_the_holder_is_built_again(acts: Any) -> None:
    acts.mount(acts.ready())
    out = acts.remove(60)
    built = acts.build(61)

    with pytest.raises(HolderInUse, match=built.code):
        reverse(acts, out.fact_id)


def test_a_removal_stands_once_the_piece_went_on(acts: Any) -> None:
    acts.mount(acts.ready())
    out = acts.remove(60)
    assert acts.build(61, "TH-2").edge == 2

    with pytest.raises(Conflict, match="built again since"):
        reverse(acts, out.fact_id)


def test_a_removal_stands_once_the_piece_was_ground(acts: Any) -> None:
    acts.mount(acts.ready(0, "DH-1"), station="M1/T11")
    out = acts.remove(60, station="M1/T11")
    back = regrind(acts.tx, acts.present, Regrind("LOT-D1", 1, acts.at(100)))

    with pytest.raises(Conflict, match="was ground"):
        reverse(acts, out.fact_id)
    with pytest.raises(Conflict, match="regrind cannot be taken back"):
        reverse(acts, back.fact_id)


def test_a_removal_stands_once_the_tool_was_measured_again(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    out = acts.remove(60, "inspection")
    acts.preset(code, 61)

    with pytest.raises(Conflict, match="was recorded about"):
        reverse(acts, out.fact_id)


def test_a_correction_taken_back_is_no_longer_part_of_the_offset(acts: Any) -> None:
    acts.mount(acts.ready())
    wrong = CorrectOffset("M1/T01", "X", 10_000, "size", acts.at(5))
    reverse(acts, correct_offset(acts.tx, acts.present, wrong).fact_id)

    right = CorrectOffset("M1/T01", "X", -100, "size", acts.at(6))
    done = correct_offset(acts.tx, acts.present, right)

    assert done.offset.value_tenths_um == 520_010 - 100


def test_a_stock_move_taken_back_is_a_line_of_the_ledger(acts: Any) -> None:
    moved = move_stock(acts.tx, acts.present, MoveStock("LOT-I1", "receipt", 90))

    done = reverse(acts, moved.fact_id)

    assert acts.one("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'") == 10
    assert acts.one("SELECT change FROM stock_moves WHERE fact_id = ?", done.fact_id) == -90


def test_a_receipt_that_was_used_up_stands(acts: Any) -> None:
    moved = move_stock(acts.tx, acts.present, MoveStock("LOT-I1", "receipt", 5))
    move_stock(acts.tx, acts.present, MoveStock("LOT-I1", "issue", 12))

    with pytest.raises(NoneLeft):
        reverse(acts, moved.fact_id)


def test_a_stop_is_taken_back(acts: Any) -> None:
    stop = report_stop(acts.tx, acts.present, ReportStop("M1", "by mistake"))

    assert reverse(acts, stop.fact_id).kind == "stop"


def test_a_fact_is_taken_back_once(acts: Any) -> None:
    stop = report_stop(acts.tx, acts.present, ReportStop("M1", "by mistake"))
    done = reverse(acts, stop.fact_id)

    with pytest.raises(Conflict, match=f"by fact {done.fact_id}"):
        reverse(acts, stop.fact_id)
    with pytest.raises(Conflict, match="record the fact again"):
        reverse(acts, done.fact_id)
    with pytest.raises(NotKnown, match="no fact 999"):
        reverse(acts, 999)
    with pytest.raises(NotKnown, match="no fact 1000000"):
        reverse(acts, 10**30)


def test_other_facts_say_how_they_are_put_right(acts: Any) -> None:
    built = acts.build()
    preset = acts.preset(built.code)
    # a tool that never cut is only built again: its pieces are free, whoever takes them
    counted = acts.counts((0, 1))
    down = tear_down(acts.tx, acts.present, TearDown(built.code, at=acts.at(5)))

    for fact_id, words in (
        (built.fact_id, "Take the tool apart"),
        (preset.fact_id, "measure the tool again"),
        (counted.fact_id, "impossible counts are held"),
        (down.fact_id, "build the tool again"),
    ):
        with pytest.raises(Conflict, match=words):
            reverse(acts, fact_id)


def test_a_build_taken_back_leaves_box_and_holder_as_they_were(acts: Any) -> None:
    acts.mount(acts.ready())
    acts.remove(60)  # piece 1 is open, its second edge is next
    same_piece = acts.build(61, "TH-1")
    two = acts.build(61, "TH-2")
    assert (same_piece.edge, two.recipe.pieces[0].number) == (2, 2)

    for built in (same_piece, two):
        assert "was not built" in reverse(acts, built.fact_id).sentence

    # what was open stays open, what was in the box is in there again
    assert acts.one("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'") == 9
    assert acts.one("SELECT max(number) FROM pieces") == 1
    assert status(acts, two.code) == "UNAVAILABLE"
    again = acts.build(61, "TH-2")
    assert (again.edge, again.recipe.pieces[0].number) == (2, 1)


def test_a_build_stands_once_the_tool_was_measured(acts: Any) -> None:
    built = acts.build()
    preset = acts.preset(built.code)

    with pytest.raises(Conflict, match=f"fact {preset.fact_id}"):
        reverse(acts, built.fact_id)


@pytest.mark.parametrize("measured", [False, True])
def test_a_used_tool_that_was_taken_apart_stands_again(acts: Any, measured: bool) -> None:
    code = acts.ready(0, "DH-1")
    acts.mount(code, station="M1/T11")
    acts.remove(60, "inspection", station="M1/T11")
    if measured:
        drill = [acts.reading(600_010, None)] * 3
        code = acts.preset(code, 61, drill).code
    before = status(acts, code)
    down = tear_down(acts.tx, acts.present, TearDown(code, at=acts.at(70)))

    reverse(acts, down.fact_id)

    assert status(acts, code) == before == ("AVAILABLE" if measured else "USED")
    assert acts.mount(code, 80, "M1/T11").code == code


def test_taking_apart_stands_once_holder_or_piece_went_on(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    acts.remove(60, "inspection")
    down = tear_down(acts.tx, acts.present, TearDown(code, at=acts.at(70)))
    other = acts.build(71, "TH-2")
    assert other.recipe.pieces[0].number == 1

    with pytest.raises(Conflict, match="built again since"):
        reverse(acts, down.fact_id)
    reverse(acts, other.fact_id)
    built = acts.build(72, "TH-1")
    with pytest.raises(HolderInUse, match=built.code):
        reverse(acts, down.fact_id)


def test_a_reversal_before_the_fact_is_refused(acts: Any) -> None:
    mounted = acts.mount(acts.ready(), 10)

    with pytest.raises(Conflict, match="too early"):
        reverse_fact(acts.tx, acts.present, ReverseFact(mounted.fact_id, at=acts.at(9)))
