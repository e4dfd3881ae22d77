"""Readable text read back from the PDF: on the label, apart, and uncut where it must be."""

from __future__ import annotations

import ctypes
from collections.abc import Callable

import numpy as np
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pypdfium2 import raw

from crib.codes import make_code
from crib.errors import Invalid
from labels.arrange import lay_out
from labels.boxes import Laid
from labels.kinds import (
    AssemblyLabel,
    BadgeLabel,
    GaugeLabel,
    HolderTag,
    Label,
    LotLabel,
    OffsetText,
    StationPlate,
)
from labels.media import Stock, load_stocks
from labels.pdf import render_labels

Raster = NDArray[np.uint8]
Box = tuple[float, float, float, float]

STOCKS = load_stocks()
#: Ink may stand out of its advance by a hair [mm].
HAIR_MM = 0.25

NAMES = st.one_of(
    st.text(max_size=60),
    st.text("ABCDEFGHIJKLM abcdef0123456789-/\"'", max_size=200),
    st.text("آلةخراطة شنطويلجدالمحטרקעשניםמידות 123()", max_size=60),
    st.sampled_from(["W" * 300, "😀🔧" * 30, "Ǻ̃Ṩ̌" * 20, "a\u0300\u0301\u0302" * 20, "\"\" ''"]),
)
DIGITS = st.integers(-9_999_9999, 9_999_9999)
OFFSETS = st.lists(
    st.tuples(DIGITS, st.sampled_from(["mm", "in"]), st.sampled_from([True, False, None])),
    max_size=3,
).map(
    lambda rows: tuple(
        OffsetText(axis, f"{value / 10_000:+.4f}", unit, on)
        for axis, (value, unit, on) in zip("XYZ", rows, strict=False)
    )
)
NUMBERS = st.integers(0, 36**5 - 1)


@st.composite
def assembly_labels(draw: st.DrawFn) -> AssemblyLabel:
    return AssemblyLabel(
        code=make_code("A", draw(NUMBERS)),
        spec=draw(NAMES),
        machine=draw(NAMES),
        station=draw(NAMES),
        tool_number=draw(NAMES),
        path=draw(NAMES),
        item=draw(NAMES),
        grade=draw(NAMES),
        edge=draw(st.none() | st.integers(1, 8)),
        edges=draw(st.none() | st.integers(1, 8)),
        offsets=draw(OFFSETS),
        tip_orientation=draw(st.sampled_from(["", "3", "9"])),
        nose_radius=draw(NAMES),
        holder=draw(NAMES),
        measured_at=draw(st.sampled_from(["", "2026-11-25 10:18"]) | NAMES),
        measured_by=draw(NAMES),
        gauge=draw(NAMES),
        void_after=draw(NAMES),
        note=draw(NAMES),
    )


OTHERS = st.one_of(
    st.builds(
        StationPlate,
        NUMBERS.map(lambda n: make_code("S", n)),
        *[NAMES] * 7,
        st.none() | st.integers(0, 99_999),
        NAMES,
    ),
    st.builds(
        HolderTag,
        NUMBERS.map(lambda n: make_code("H", n)),
        *[NAMES] * 4,
        st.none() | st.integers(0, 99_999),
        NAMES,
        NAMES,
    ),
    st.builds(
        LotLabel,
        NUMBERS.map(lambda n: make_code("L", n)),
        *[NAMES] * 4,
        st.none() | st.integers(0, 10_000),
        st.none() | st.integers(1, 8),
        *[NAMES] * 3,
    ),
    st.builds(GaugeLabel, NUMBERS.map(lambda n: make_code("G", n)), *[NAMES] * 7),
    st.builds(BadgeLabel, NUMBERS.map(lambda n: make_code("P", n)), *[NAMES] * 4),
)


def characters(pdf: bytes) -> tuple[str, list[tuple[str, Box]]]:
    """Text of the first page, and each inked character's box [mm] from the top left."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        page = document[0]
        height = page.get_height()
        text = page.get_textpage()
        found = []
        for index in range(text.count_chars()):
            if raw.FPDFText_IsGenerated(text.raw, index):
                continue
            character = chr(raw.FPDFText_GetUnicode(text.raw, index))
            sides = [ctypes.c_double() for _ in range(4)]
            raw.FPDFText_GetCharBox(text.raw, index, *sides)
            left, right, bottom, top = (side.value for side in sides)
            if right > left and top > bottom and not character.isspace():
                box = (left, height - top, right, height - bottom)
                found.append((character, tuple(25.4 / 72 * side for side in box)))
        return text.get_text_range(), found  # type: ignore[return-value]
    finally:
        document.close()


def check_geometry(laid: Laid, stock: Stock, pdf: bytes) -> set[str]:
    """Check where the ink is; returns the texts as they read from left to right."""
    _, inked = characters(pdf)
    symbol = laid.symbol
    assert symbol is not None
    low, high = stock.margin_mm - HAIR_MM, HAIR_MM - stock.margin_mm
    blocked = (
        symbol.x_mm,
        symbol.y_mm,
        symbol.x_mm + symbol.side_mm,
        symbol.y_mm + symbol.side_mm,
    )
    grown: dict[int, Box] = {}
    spelt: dict[int, list[tuple[float, str]]] = {}
    for character, box in inked:
        assert box[0] >= low, character
        assert box[1] >= low, character
        assert box[2] <= stock.label_width_mm + high, character
        assert box[3] <= stock.label_height_mm + high, character
        assert not overlap(box, blocked, HAIR_MM), character
        owner = owner_of(box, laid)
        assert owner is not None, character
        spelt.setdefault(owner, []).append((box[0], character))
        known = grown.get(owner, box)
        grown[owner] = (
            min(known[0], box[0]),
            min(known[1], box[1]),
            max(known[2], box[2]),
            max(known[3], box[3]),
        )
    boxes = list(grown.values())
    for index, one in enumerate(boxes):
        for other in boxes[index + 1 :]:
            assert not overlap(one, other, 0.08), (one, other)
    return {"".join(character for _, character in sorted(text)) for text in spelt.values()}


def owner_of(box: Box, laid: Laid) -> int | None:
    """The laid-out text that a character's ink belongs to: its middle lies in that box."""
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    for index, text in enumerate(laid.texts):
        if (
            text.x_mm - HAIR_MM <= x <= text.x_mm + text.width_mm + HAIR_MM
            and text.y_mm - HAIR_MM / 2 <= y <= text.y_mm + text.height_mm + HAIR_MM / 2
        ):
            return index
    return None


def overlap(one: Box, other: Box, hair_mm: float) -> bool:
    return (
        min(one[2], other[2]) - max(one[0], other[0]) > hair_mm
        and min(one[3], other[3]) - max(one[1], other[1]) > hair_mm
    )


def check_symbols_surroundings(image: Raster, laid: Laid, stock: Stock) -> None:
    """No ink in the label's outer margin, and none in the symbol's quiet zone."""
    symbol = laid.symbol
    assert symbol is not None
    dots = stock.dpi / 25.4
    edge = int((min(stock.margin_mm, symbol.x_mm + 4 * symbol.module_mm) - HAIR_MM) * dots)
    assert image[:edge].min() == 255
    assert image[-edge:].min() == 255
    assert image[:, :edge].min() == 255
    assert image[:, -edge:].min() == 255
    left, top = round(symbol.x_mm * dots), round(symbol.y_mm * dots)
    side, quiet = symbol.symbol.side_modules * symbol.dots, 4 * symbol.dots - 1
    square = image[top : top + side, left : left + side]
    # The page's last dot is a broken one, so the raster is stretched by up to a dot.
    black = square < 100
    middle = black[quiet : side - quiet, quiet : side - quiet]
    assert middle.any()
    assert black.sum() == middle.sum()


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    assembly_labels() | OTHERS,
    st.sampled_from(sorted(name for name in STOCKS if name.startswith("roll"))),
    st.sampled_from([None, "https://crib.example", "https://" + "a" * 40 + ".example"]),
)
def test_whatever_the_names_text_stays_on_the_label_and_apart(
    raster: Callable[[bytes, int, int], Raster], label: Label, name: str, address: str | None
) -> None:
    stock = STOCKS[name]

    try:
        laid = lay_out(label, stock, address)
    except Invalid:  # a symbol that is too large leaves no room for offsets; never cut
        assert address is not None
        assert len(address) > 40
        reject()
    pdf = render_labels([label], stock, address=address)

    read = check_geometry(laid, stock, pdf)
    check_symbols_surroundings(raster(pdf, 0, stock.dpi), laid, stock)
    assert label.code in read
    if isinstance(label, AssemblyLabel):
        if label.is_measured:
            for offset in label.offsets:
                assert {offset[0], offset[1]} <= read
            assert "NOTMEASURED" not in read
        else:
            assert "NOTMEASURED" in read
            assert not {offset[1] for offset in label.offsets} & read


@pytest.mark.parametrize("name", sorted(STOCKS))
def test_an_everyday_label_says_everything(
    name: str, measured: Callable[..., AssemblyLabel]
) -> None:
    label = measured()

    pdf = render_labels([label], STOCKS[name], address="https://crib.example")

    text = " ".join(characters(pdf)[0].split())
    for words in (
        label.code,
        "Lathe 3",
        "G12",
        "T1200",
        "path 1",
        "TURN-ROUGH-35",
        "DCGT 11T304",
        "K20",
        "edge 1 of 2",
        "+12.3456",
        "mm dia",
        "-0.0215",
        "-101.2040",
        "tip 3",
        "R 0.4 mm",
        "measured 2026-11-25 10:18",
        "by M. Attendant",
        "on G00001J",
        "void after 2026-12-02 10:18",
    ):
        assert words in text, words


def test_there_is_room_for_the_caution_on_a_large_label(
    measured: Callable[..., AssemblyLabel],
) -> None:
    pdf = render_labels([measured()], STOCKS["roll-100x50"])

    text = " ".join(characters(pdf)[0].split())
    assert "Prove the offset: single block, reduced rapid." in text
    assert "holder H-118" in text
    assert "Fit the short screw" in text


def test_a_label_without_a_station_says_so(measured: Callable[..., AssemblyLabel]) -> None:
    label = measured(machine="", station="", tool_number="", path="")

    text = characters(render_labels([label], STOCKS["roll-50x25"]))[0]

    assert "no station set" in text
    assert "TURN-ROUGH-35" in text


def test_an_assembly_without_a_preset_says_so_in_the_largest_type(
    measured: Callable[..., AssemblyLabel],
) -> None:
    label = measured(offsets=(), measured_at="")

    for stock in STOCKS.values():
        laid = lay_out(label, stock)
        biggest = max(laid.texts, key=lambda text: text.size_pt)
        assert biggest.shown == "NOT MEASURED"
        assert any("Do not mount" in text.shown for text in laid.texts)


def test_offsets_stand_in_columns_with_their_points_below_each_other(
    measured: Callable[..., AssemblyLabel],
) -> None:
    laid = lay_out(measured(), STOCKS["roll-50x25"])

    numbers = [t for t in laid.texts if t.shown in ("+12.3456", "-0.0215", "-101.2040")]
    ends = {round(text.x_mm + text.width_mm, 6) for text in numbers}
    assert len(numbers) == 3
    assert len(ends) == 1


@pytest.mark.parametrize("name", sorted(STOCKS))
def test_a_gauge_that_was_not_checked_stands_on_every_label(
    name: str, measured: Callable[..., AssemblyLabel]
) -> None:
    label = measured(gauge_override="S. Brask, master is away")

    text = " ".join(characters(render_labels([label], STOCKS[name]))[0].split())

    assert "Gauge not checked: S. Brask" in text
    assert label.code in text
    assert "+12.3456" in text


def test_a_gauges_label_says_that_its_uncertainty_is_a_standard_one() -> None:
    # u is a standard uncertainty, k = 1; U with its k an expanded one: JCGM 100, 2.3.1, 2.3.5
    label = GaugeLabel(make_code("G", 0), "PG-1", uncertainty="0.0015 mm")

    text = " ".join(characters(render_labels([label], STOCKS["roll-50x25"]))[0].split())

    assert "u (k=1) 0.0015 mm" in text
    assert "k=2" not in text
