"""Every label on every stock is scanned back from a raster by an independent reader."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from collections.abc import Callable, Sequence

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageFilter
from pypdfium2 import raw

from crib.codes import make_code, parse_code
from crib.errors import BadCode, Invalid
from labels.kinds import AssemblyLabel, HolderTag, Label
from labels.media import load_stocks
from labels.pdf import render_labels

Raster = NDArray[np.uint8]
Shoot = Callable[[bytes, int, int], Raster]
Read = Callable[[Raster], list[str]]

STOCKS = load_stocks()
ADDRESSES = [
    None,
    "https://crib.example",
    "https://toolroom.crib.demonstration-shop.example:8443",
]


@pytest.mark.parametrize("address", ADDRESSES, ids=["bare", "short", "long"])
@pytest.mark.parametrize("name", sorted(STOCKS))
def test_every_kind_on_every_stock_scans_back(
    name: str,
    address: str | None,
    every_kind: Sequence[Label],
    raster: Shoot,
    read_symbols: Read,
) -> None:
    stock = STOCKS[name]

    pdf = render_labels(every_kind, stock, address=address)

    pages = len(pypdfium2.PdfDocument(pdf))
    found = [
        text for page in range(pages) for text in read_symbols(raster(pdf, page, stock.dpi))
    ]
    assert sorted(parse_code(text).text for text in found) == sorted(
        label.code for label in every_kind
    )
    prefix = f"{address}/C/".upper() if address else ""
    assert all(text.startswith(prefix) for text in found)


@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("name", ["roll-50x25", "roll-70x35"])
@pytest.mark.parametrize("angle", [0, 7, 90, 200])
def test_a_blurred_noisy_turned_label_still_scans(
    name: str,
    dpi: int,
    angle: int,
    every_kind: Sequence[Label],
    raster: Shoot,
    read_symbols: Read,
) -> None:
    pdf = render_labels(every_kind, STOCKS[name], address="https://crib.example")
    noise = np.random.default_rng(20261125)

    for page, label in enumerate(every_kind):
        image = Image.fromarray(raster(pdf, page, dpi)).resize((900, 450))
        image = image.rotate(
            angle, expand=True, fillcolor=255, resample=Image.Resampling.BICUBIC
        )
        image = image.filter(ImageFilter.GaussianBlur(1.5))
        grey = np.asarray(image, dtype=float) * 0.6 + 60
        grey += noise.normal(0, 18, grey.shape)
        found = read_symbols(np.clip(grey, 0, 255).astype(np.uint8))
        assert [parse_code(text).text for text in found] == [label.code]


@pytest.mark.parametrize("name", sorted(STOCKS))
def test_modules_are_whole_printer_dots(
    name: str, every_kind: Sequence[Label], raster: Shoot
) -> None:
    stock = STOCKS[name]
    pdf = render_labels(every_kind[:1], stock)

    image = raster(pdf, 0, stock.dpi)
    left, top = (round(mm / 25.4 * stock.dpi) for mm in stock.cell_origin_mm(1))
    size = round(stock.label_height_mm / 25.4 * stock.dpi)
    dark = image[top : top + size, left : left + round(0.42 * size)] < 128
    first_row = int(np.argmax(dark.any(axis=1)))
    row = dark[first_row + 1]
    edges = np.flatnonzero(np.diff(row.astype(int)))
    # The top of a finder pattern is one run of seven modules.
    run = int(edges[1] - edges[0])
    assert run % 7 == 0
    assert run // 7 >= 3


def test_sheets_start_at_the_cell_that_is_free(
    measured: Callable[..., AssemblyLabel], raster: Shoot, read_symbols: Read
) -> None:
    stock = STOCKS["a4-70x37"]
    labels = [measured(number) for number in range(5)]

    pdf = render_labels(labels, stock, start_cell=22)

    assert len(pypdfium2.PdfDocument(pdf)) == 2
    for page, first_cell, expected in ((0, 22, labels[:3]), (1, 1, labels[3:])):
        image = raster(pdf, page, 300)
        assert sorted(read_symbols(image)) == sorted(label.code for label in expected)
        for offset, label in enumerate(expected):
            x, y = (mm / 25.4 * 300 for mm in stock.cell_origin_mm(first_cell + offset))
            cell = image[
                int(y) : int(y + stock.label_height_mm / 25.4 * 300),
                int(x) : int(x + stock.label_width_mm / 25.4 * 300),
            ]
            assert read_symbols(np.ascontiguousarray(cell)) == [label.code]
    above = raster(pdf, 0, 300)[: int(stock.cell_origin_mm(22)[1] / 25.4 * 300)]
    assert above.min() == 255


@pytest.mark.parametrize("cell", [0, 25, -1])
def test_a_cell_that_the_sheet_lacks_is_refused(
    cell: int, measured: Callable[..., AssemblyLabel]
) -> None:
    with pytest.raises(Invalid, match="cells 1 to 24"):
        render_labels([measured()], STOCKS["a4-70x37"], start_cell=cell)


def test_nothing_to_print_is_refused() -> None:
    with pytest.raises(Invalid, match="nothing to print"):
        render_labels([], STOCKS["roll-50x25"])


def test_a_mistyped_code_stops_the_whole_print(measured: Callable[..., AssemblyLabel]) -> None:
    wrong = make_code("A", 5)[:-1] + "?"

    with pytest.raises(BadCode):
        render_labels([measured(), measured(code=wrong)], STOCKS["roll-50x25"])


def test_an_address_too_long_for_any_symbol_is_refused(
    measured: Callable[..., AssemblyLabel],
) -> None:
    with pytest.raises(Invalid, match="shorter public address"):
        render_labels([measured()], STOCKS["roll-50x25"], address="https://" + "a" * 200)


def test_an_offset_that_cannot_stand_uncut_is_refused_with_a_way_out(
    measured: Callable[..., AssemblyLabel],
) -> None:
    label = measured(offsets=(("X", "+" + "1" * 60, "mm", True),))

    with pytest.raises(Invalid, match=r"never cut\. Take a larger stock"):
        render_labels([label], STOCKS["roll-50x25"])


@pytest.mark.parametrize("name", ["roll-50x25", "a4-99x38"])
def test_the_same_labels_give_the_same_bytes(name: str, every_kind: Sequence[Label]) -> None:
    once = render_labels(every_kind, STOCKS[name], address="https://crib.example")
    render_labels(every_kind[::-1], STOCKS["roll-100x50"])
    twice = render_labels(every_kind, STOCKS[name], address="https://crib.example")

    assert once == twice
    assert b"CreationDate (D:2000" in once or b"CreationDate" not in once


def test_another_process_gives_the_same_bytes() -> None:
    script = (
        "import hashlib; from labels.kinds import HolderTag; "
        "from labels.media import load_stocks; "
        "from labels.pdf import render_labels; "
        "print(hashlib.sha256(render_labels([HolderTag('H00001K', 'Halter Ü שלום')], "
        "load_stocks()['roll-50x25'])).hexdigest())"
    )
    here = hashlib.sha256(
        render_labels([HolderTag("H00001K", "Halter Ü שלום")], STOCKS["roll-50x25"])
    ).hexdigest()

    there = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONHASHSEED": "7", "PYTHONPATH": ":".join(p for p in sys.path if p)},
    )
    assert there.stdout.strip() == here


@pytest.mark.parametrize("name", sorted(STOCKS))
def test_symbols_begin_on_whole_printer_dots(
    name: str, measured: Callable[..., AssemblyLabel]
) -> None:
    stock = STOCKS[name]
    labels = [measured(number) for number in range(stock.cells)]
    document = pypdfium2.PdfDocument(render_labels(labels, stock))
    page = document[0]

    symbols = [one for one in page.get_objects() if one.type == raw.FPDF_PAGEOBJ_PATH]

    assert len(symbols) == stock.cells
    dot = 72 / stock.dpi
    for one in symbols:
        left, _, right, top = one.get_bounds()
        for side in (left, right, page.get_height() - top):
            assert side / dot == pytest.approx(round(side / dot), abs=0.02)
