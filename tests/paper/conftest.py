"""Labels of an invented shop, and eyes to read a printed page back."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from numpy.typing import NDArray

from crib.codes import make_code
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

Raster = NDArray[np.uint8]


def _measured(number: int = 1, **changes: object) -> AssemblyLabel:
    said: dict[str, object] = {
        "code": make_code("A", number),
        "machine": "Lathe 3",
        "station": "G12",
        "tool_number": "T1200",
        "path": "1",
        "spec": "TURN-ROUGH-35",
        "item": "DCGT 11T304",
        "grade": "K20",
        "edge": 1,
        "edges": 2,
        "offsets": (
            OffsetText("X", "+12.3456", "mm", True),
            OffsetText("Y", "-0.0215", "mm"),
            OffsetText("Z", "-101.2040", "mm"),
        ),
        "tip_orientation": "3",
        "nose_radius": "0.4 mm",
        "holder": "H-118",
        "measured_at": "2026-11-25 10:18",
        "measured_by": "M. Attendant",
        "gauge": "G00001J",
        "void_after": "2026-12-02 10:18",
        "note": "Fit the short screw",
    }
    return AssemblyLabel(**{**said, **changes})  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def measured() -> Callable[..., AssemblyLabel]:
    """A measured assembly's label, sane but for what is given."""
    return _measured


@pytest.fixture(scope="session")
def every_kind() -> list[Label]:
    return [
        _measured(1),
        _measured(2, machine="", station="", tool_number="", path=""),
        _measured(3, offsets=(), measured_at="", measured_by="", gauge="", void_after=""),
        StationPlate(
            make_code("S", 5), "Lathe 3", "G12", "T1200", "1", "main", "live", "ER16", 6000
        ),
        HolderTag(
            make_code("H", 7), "H-118", "SQ12", "SDJCR 1212 K11", "shank 12 mm", None, "Rack B3"
        ),
        LotLabel(
            make_code("L", 8), "L-044", "INS-DC11", "DCGT 11T304", "K20", 10, 2, "2026-11-02"
        ),
        GaugeLabel(make_code("G", 0), "Presetter 1", "Optical", "2026-11-25", "2026-11-26"),
        BadgeLabel(
            make_code("P", 9), "117", "Mira Attendant", "attendant", "Demonstration shop"
        ),
    ]


def _raster(pdf: bytes, page: int, dpi: int) -> Raster:
    document = pypdfium2.PdfDocument(pdf)
    try:
        bitmap = document[page].render(scale=dpi / 72, grayscale=True)
        return np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)
    finally:
        document.close()


@pytest.fixture(scope="session")
def raster() -> Callable[[bytes, int, int], Raster]:
    """A page as the printer lays it down: (pdf, page from 0, dpi) to grey levels."""
    return _raster


@pytest.fixture(scope="session")
def read_symbols() -> Callable[[Raster], list[str]]:
    """Texts of the symbols that an independent reader finds, from top left to bottom right."""

    def read(image: Raster) -> list[str]:
        found = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)
        found.sort(key=lambda one: (one.position.top_left.y // 40, one.position.top_left.x))
        return [one.text for one in found]

    return read
