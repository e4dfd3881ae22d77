"""1,000 roll labels against the drawing of their text alone."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable

import numpy as np
import pypdfium2
import pytest
import zxingcpp

from crib.codes import make_code
from labels.arrange import lay_out
from labels.code_symbol import make_symbol
from labels.kinds import AssemblyLabel, OffsetText
from labels.media import load_stocks
from labels.pdf import render_labels, render_pages

COUNT = 1000


def _label(number: int) -> AssemblyLabel:
    return AssemblyLabel(
        code=make_code("A", number),
        spec=f"TURN-ROUGH-{number % 40}",
        machine=f"Lathe {number % 6 + 1}",
        station=f"G{number % 30:02d}",
        tool_number=f"T{number % 30:02d}00",
        path="1",
        item="DCGT 11T304",
        grade="K20",
        edge=1,
        edges=2,
        offsets=(
            OffsetText("X", f"+{number}.3456", "mm", True),
            OffsetText("Z", f"-{number}.2040", "mm"),
        ),
        tip_orientation="3",
        nose_radius="0.4 mm",
        holder=f"H-{number}",
        measured_at="2026-11-25 10:18",
        measured_by="M. Attendant",
        gauge="G00001J",
        void_after="2026-12-02 10:18",
    )


def _best(work: Callable[[], object], before: Callable[[], object]) -> float:
    seconds = []
    for _ in range(3):
        before()
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


@pytest.mark.bench
def test_a_thousand_roll_labels_over_their_text_alone(
    capsys: pytest.CaptureFixture[str],
) -> None:
    stock = load_stocks()["roll-50x25"]
    labels = [_label(number) for number in range(COUNT)]
    bare = [dataclasses.replace(lay_out(label, stock), symbol=None) for label in labels]

    # Symbols are remembered between prints; here each print makes them all anew.
    ceiling = _best(lambda: render_pages(bare, "Labels"), make_symbol.cache_clear)
    ours = _best(lambda: render_labels(labels, stock), make_symbol.cache_clear)

    document = pypdfium2.PdfDocument(render_labels(labels, stock))
    read = 0
    for label, page in zip(labels, document, strict=True):
        bitmap = page.render(scale=203 / 72, grayscale=True)
        image = np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)
        found = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)
        read += [one.text for one in found] == [label.code]
    with capsys.disabled():
        print(
            f"1,000 roll labels over their text alone, {ours:.3f} s, {ceiling:.3f} s, "
            f"{ours / ceiling:.2f}"
        )
    assert read == COUNT
