"""Rows fitted into a room: shrunk together, cut where allowed, dropped where optional."""

from __future__ import annotations

import pytest

from labels.layout import Grid, Piece, Row, heights, make_ready, place, share_out
from labels.text import PT_MM, line_height_mm, width_em
from labels.typeface import Face


def row(text: str, *, optional: int = 0, may_cut: bool = True) -> Row:
    return Row((Piece(text, may_cut=may_cut),), 10.0, 5.0, optional)


def ready(*rows: Row | Grid, width_mm: float = 40.0) -> list:  # type: ignore[type-arg]
    made = make_ready(rows, width_mm)
    assert made is not None
    return made


def test_rows_take_their_wanted_size_where_there_is_room() -> None:
    shared = share_out(ready(row("upper")), ready(row("lower")), 0.0, 10.0, 30.0)

    assert shared == (10.0, 1.0)


def test_rows_shrink_together_where_room_is_short() -> None:
    rows = ready(row("one"), row("two"))
    height = heights(rows, 0.5)

    boxes = place(rows, 1.0, 2.0, 40.0, height)

    assert [box.size_pt for box in boxes] == pytest.approx([7.5, 7.5], abs=0.02)
    assert boxes[1].y_mm >= boxes[0].y_mm + boxes[0].height_mm - 1e-9
    assert boxes[1].y_mm + boxes[1].height_mm <= 2.0 + height + 1e-6


def test_tall_upper_rows_push_the_lower_ones_down() -> None:
    upper = ready(row("a"), row("b"), row("c"))

    shared = share_out(upper, ready(row("d")), 0.0, 5.0, 100.0)

    assert shared is not None
    assert shared[0] == pytest.approx(heights(upper, 1.0))


def test_optional_rows_make_room_the_least_important_first() -> None:
    lower = ready(row("stays"), row("note", optional=1), row("caution", optional=2))
    room = 2.2 * line_height_mm(7.0)

    shared = share_out([], lower, 0.0, 0.0, room)

    assert shared is not None
    assert [made.lines[0][0].text for made in lower] == ["stays", "note"]


def test_rows_that_must_stay_and_do_not_fit_are_refused() -> None:
    lower = ready(row("one"), row("two"))

    # Too tall below the symbol though the label has room, and too tall for the whole label.
    assert share_out([], lower, -10.0, 0.0, 1.9 * line_height_mm(5.0)) is None
    assert share_out(lower, [], 0.0, 0.0, 1.9 * line_height_mm(5.0)) is None
    assert share_out([], lower, -10.0, 0.0, 2.1 * line_height_mm(5.0)) is not None


def test_what_is_never_cut_and_too_wide_is_refused_unless_optional() -> None:
    wide = "X" * 100

    assert make_ready([row(wide, may_cut=False)], 40.0) is None
    assert make_ready([row(wide, may_cut=False, optional=1)], 40.0) == []
    assert make_ready([Grid(((Piece(wide),),), 10.0, 5.0)], 40.0) is None


def test_empty_texts_take_no_room() -> None:
    assert ready(row(""), Row((Piece(" \x00"),), 10.0, 5.0), Grid((), 10.0, 5.0)) == []


def test_short_texts_of_a_row_stay_whole_and_long_ones_share() -> None:
    made = ready(Row((Piece("M" * 50), Piece("T12"), Piece("S" * 50)), 10.0, 5.0))

    boxes = place(made, 0.0, 0.0, 40.0, 10.0)

    assert [box.cut for box in boxes] == [True, False, True]
    assert boxes[0].width_mm == pytest.approx(boxes[2].width_mm, rel=0.25)
    assert boxes[2].x_mm + boxes[2].width_mm <= 40.0 + 1e-6


def test_what_is_to_be_kept_stays_whole_before_the_others() -> None:
    pieces = (Piece("M" * 50), Piece("void after 2026-12-02", right=True, keep=True))
    made = ready(Row(pieces, 8.0, 5.0))

    boxes = place(made, 0.0, 0.0, 40.0, 10.0)

    assert [box.cut for box in boxes] == [True, False]
    assert boxes[1].x_mm + boxes[1].width_mm == pytest.approx(40.0, abs=1e-5)


def test_a_long_name_does_not_dwarf_its_row() -> None:
    made = ready(Row((Piece("M" * 400),), 20.0, 5.0))

    (box,) = place(made, 0.0, 0.0, 40.0, 20.0)

    assert box.size_pt == pytest.approx(14.0)
    assert box.cut


def test_a_fixed_text_shrinks_as_far_as_its_floor_before_it_is_refused() -> None:
    text = "A" * 20
    width = width_em(text, Face.TEXT) * 6.0 * PT_MM

    (box,) = place(ready(row(text, may_cut=False), width_mm=width), 0.0, 0.0, width, 20.0)

    assert box.shown == text
    assert box.size_pt == pytest.approx(6.0, abs=0.01)
