"""The shift sheet and the kit sheet: everything on paper, on numbered pages, nothing cut."""

from __future__ import annotations

import re
from dataclasses import replace

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.errors import Invalid
from labels.boxes import Laid
from labels.kit_sheet import KitLine, KitSheet, lay_out_kit_sheet
from labels.pdf import render_kit_sheet, render_pages, render_shift_sheet
from labels.swap_sheet import (
    CAUTIONS,
    BenchRow,
    NightRow,
    ShiftSheet,
    SwapRow,
    lay_out_shift_sheet,
)
from labels.text import wrap
from labels.typeface import Face

MARGIN_MM = 12.0


def swap(number: int, **changes: object) -> SwapRow:
    said: dict[str, object] = {
        "machine": f"Lathe {number % 6 + 1}",
        "station": f"G{number:02d}",
        "assembly": f"A{number:05d}X",
        "swap_by": "26 Nov 06:30",
        "why": "unattended stretch ahead",
        "sister_state": "ready",
    }
    return SwapRow(**{**said, **changes})  # type: ignore[arg-type]


def shift(swaps: int, bench: int) -> ShiftSheet:
    return ShiftSheet(
        "26 Nov 2026 05:55",
        "next 12 hours",
        tuple(swap(number) for number in range(swaps)),
        tuple(BenchRow(f"BENCH-{number:03d}", needed_by="14:10") for number in range(bench)),
        "Demonstration shop",
    )


def words(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    finally:
        document.close()


def check_pages(pages: list[Laid]) -> None:
    for page in pages:
        for text in page.texts:
            assert text.x_mm >= MARGIN_MM - 1e-6
            assert text.y_mm >= MARGIN_MM - 1e-6
            assert text.x_mm + text.width_mm <= page.width_mm - MARGIN_MM + 1e-3
            assert text.y_mm + text.height_mm <= page.height_mm - MARGIN_MM + 1e-6
        boxes = [
            (t.x_mm, t.y_mm, t.x_mm + t.width_mm, t.y_mm + t.height_mm) for t in page.texts
        ]
        boxes.sort(key=lambda box: box[1])
        for index, one in enumerate(boxes):
            for other in boxes[index + 1 :]:
                if other[1] >= one[3] - 1e-3:
                    break
                assert other[0] >= one[2] - 1e-6 or one[0] >= other[2] - 1e-6


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_row_is_printed_once_on_numbered_pages(paper: str) -> None:
    check_pages(lay_out_shift_sheet(shift(120, 60), paper))
    pages = words(render_shift_sheet(shift(120, 60), paper))

    text = " ".join(pages)
    for number in range(120):
        assert text.count(f"A{number:05d}X") == 1
    for number in range(60):
        assert text.count(f"BENCH-{number:03d}") == 1
    assert len(pages) > 3
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "Shift sheet" in page
        assert "Demonstration shop" in page
        assert "swap by" in page or "needed by" in page
        assert "Stop the spindle and wait until it stands still" in page


def test_rows_keep_their_order() -> None:
    text = " ".join(words(render_shift_sheet(shift(50, 0))))

    assert re.findall(r"A\d{5}X", text) == [f"A{number:05d}X" for number in range(50)]


def test_an_empty_list_says_so() -> None:
    (page,) = words(render_shift_sheet(shift(0, 0)))

    assert "Nothing is due." in page
    assert "Nothing to preset." in page


def test_tonight_stands_on_top_with_boxes_for_its_swaps() -> None:
    nights = (
        NightRow(
            "L3", "Run all night after swapping T02: 7 min, risk 14 %, after the swap 5 %.", "7"
        ),
        NightRow("", "swap T02, OD 12-D", "7", "A0001AB", "rack of L3, place 2", swap=True),
        NightRow("L4", "Run all night: risk 1.2 %."),
    )
    sheet = ShiftSheet("now", "next 12 hours", (swap(1),), (), nights=nights)

    (page,) = words(render_shift_sheet(sheet))

    check_pages(lay_out_shift_sheet(sheet))
    order = ["Tonight", "Run all night after swapping T02", "A0001AB", "Swap list", "A00001X"]
    assert [page.index(one) for one in order] == sorted(page.index(one) for one in order)
    assert page.count("☐") == 2  # a swap of the night and one of the list


def test_a_swap_of_the_night_is_ticked_off_once() -> None:
    night = NightRow("", "swap T02, OD 12-D", "7", "A0001AB", swap=True, listed=True)
    sheet = ShiftSheet("now", "next 12 hours", (swap(1),), (), nights=(night,))

    (page,) = words(render_shift_sheet(sheet))

    assert page.count("☐") == 1
    assert "below swap T02" in page


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_type_shrinks_as_far_as_it_can_be_read_before_a_page_is_added(paper: str) -> None:
    def sheet(swaps: int) -> ShiftSheet:
        return ShiftSheet("now", "next 12 hours", tuple(map(swap, range(swaps))), ())

    most = next(n for n in range(1, 99) if len(lay_out_shift_sheet(sheet(n), paper)) > 1) - 1

    (full,) = lay_out_shift_sheet(sheet(most), paper)
    (easy,) = lay_out_shift_sheet(sheet(5), paper)
    check_pages([full, easy])

    def size(page: Laid) -> float:
        return next(one.size_pt for one in page.texts if one.shown == "A00001X")

    assert size(easy) == 8.5
    assert size(easy) > size(full) >= 6.8
    two = lay_out_shift_sheet(sheet(most + 1), paper)
    assert [size(two[0]), len(two)] == [8.5, 2]


def test_a_column_that_nothing_fills_has_no_head() -> None:
    line = KitLine(station="G1", spec="SPEC-1", holder="H-1")
    sheet = KitSheet("Lathe 3", "Sleeve", "14:00", keep=(line,), pull=(), build=(), back=())

    text = " ".join(words(render_kit_sheet(sheet)))

    assert "done station spec holder" in text
    assert text.count("station spec") == 1  # a table without rows has no heads
    assert "lies in" not in text


@pytest.mark.parametrize("width", range(10, 60))
def test_a_number_keeps_its_per_cent_sign(width: int) -> None:
    lines = wrap("Risk 29 % to 3.6 %. Your limit for L1 is 5 %.", Face.TEXT, width, 8.5)

    assert not any(line.startswith("%") for line in lines)
    assert " ".join(lines) == "Risk 29 % to 3.6 %. Your limit for L1 is 5 %."


def test_what_is_late_is_said_in_words() -> None:
    rows = (swap(1, late=True), swap(2))
    sheet = ShiftSheet("now", "next 12 hours", rows, ())

    (page,) = words(render_shift_sheet(sheet))

    assert page.count("LATE") == 1


def test_the_cautions_say_what_the_trade_says() -> None:
    said = " ".join(CAUTIONS)

    for caution in ("stands still", "Edges cut", "gloves", "Eye protection", "single block"):
        assert caution in said
    assert "not a promise" in said
    assert "qualified people" in said


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.text(max_size=400), min_size=12, max_size=12), st.sampled_from(["A4", "Letter"])
)
def test_long_text_wraps_within_its_column(names: list[str], paper: str) -> None:
    rows = tuple(SwapRow(*names[shift:], *names[:shift]) for shift in (0, 3, 7))
    sheet = ShiftSheet(names[0], names[1], rows, (BenchRow(*names[:10]),), names[2], names[3])

    pages = lay_out_shift_sheet(sheet, paper)

    check_pages(pages)
    render_pages(pages, "Shift sheet")


@pytest.mark.parametrize("lines", range(1, 8))
def test_rows_never_run_into_the_foot(lines: int) -> None:
    why = " ".join(["unattended-stretch-ahead"] * lines)
    rows = tuple(swap(number, why=why) for number in range(40))

    check_pages(lay_out_shift_sheet(ShiftSheet("now", "next 12 hours", rows, ())))


def test_a_row_longer_than_a_page_goes_on_overleaf_and_loses_nothing() -> None:
    story = " ".join(f"w{number:04d}" for number in range(1800))
    sheet = ShiftSheet("now", "next 12 hours", (swap(1, why=story), swap(2)), ())

    pages = lay_out_shift_sheet(sheet)

    check_pages(pages)
    assert len(pages) > 1
    text = " ".join(words(render_pages(pages, "Shift sheet")))
    assert sorted(re.findall(r"w\d{4}", text)) == story.split()
    assert "continued" in text


def test_the_kit_sheet_lists_what_to_build_pull_keep_and_return() -> None:
    lines = [KitLine(station=f"G{n}", spec=f"SPEC-{n}", minutes="12") for n in range(8)]
    sheet = KitSheet(
        "Lathe 3",
        "Sleeve 14-220",
        "26 Nov 2026 14:00",
        keep=tuple(lines[:3]),
        pull=tuple(lines[3:5]),
        build=tuple(lines[5:]),
        back=(),
        minutes="bench 36 min before the changeover",
        run="R-0021",
    )

    check_pages(lay_out_kit_sheet(sheet, "Letter"))
    text = " ".join(words(render_kit_sheet(sheet)))

    for said in (
        "Build and preset (3)",
        "Pull from the rack (2)",
        "Keep in its station (3)",
        "Return to the toolroom (0)",
        "Nothing goes back.",
        "Sleeve 14-220",
        "R-0021",
        "bench 36 min before the changeover",
    ):
        assert said in text
    assert all(f"SPEC-{n}" in text for n in range(8))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_changeover_of_ten_stations_takes_one_page(paper: str) -> None:
    place = "ER16-20/15: drawer 7.2, 125-A: cabinet 2, drawer 11"
    lines = [
        KitLine(f"T{n:02d}", f"T{n}", "BB BB-20 CC06-02-P", f"A{n:05d}X", "BB-20/07", "", place)
        for n in range(1, 11)
    ]
    build = tuple(replace(one, item="CC06-02-P", note="Order a box.") for one in lines[:5])
    minutes = "bench 45 min before the changeover, machine stands 53 min"
    sheet = KitSheet(
        "Lathe 3", "Sleeve", "14:00", (), tuple(lines[5:]), build, tuple(lines), minutes
    )

    (page,) = lay_out_kit_sheet(sheet, paper)

    check_pages([page])
    assert sum(one.shown == "☐" for one in page.texts) == 20
    assert min(one.size_pt for one in page.texts) >= 6.4


def test_the_same_sheet_gives_the_same_bytes() -> None:
    assert render_shift_sheet(shift(9, 3)) == render_shift_sheet(shift(9, 3))


def test_paper_that_is_not_there_is_refused() -> None:
    with pytest.raises(Invalid, match="A4 or Letter"):
        render_shift_sheet(shift(1, 1), "A5")


def test_no_pages_are_refused() -> None:
    with pytest.raises(Invalid, match="nothing to print"):
        render_pages([], "Nothing")
