"""The typefaces of every print: their files and letter widths.

Advance widths and ink bounds are read straight from the TrueType tables, so that layout needs
no drawing library. Source of the table layouts: ISO/IEC 14496-22 (Open Font Format).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import Enum
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent / "faces"

#: Height of a line above and below its baseline, in parts of the type size (the faces' own).
ASCENT = 0.93
DESCENT = 0.24
LINE = ASCENT + DESCENT

#: Ink that stands out of its width by more [em] would hit its neighbour.
_OVERHANG = 0.12


class Face(Enum):
    """A typeface by its file in ``labels/faces``."""

    TEXT = "DejaVuSansCondensed"
    BOLD = "DejaVuSansCondensed-Bold"
    #: Tells 0 from O, which matters when a code is typed by hand.
    CODE = "DejaVuSansMono-Bold"

    @property
    def path(self) -> Path:
        """The face's file."""
        return FOLDER / f"{self.value}.ttf"


@dataclass(frozen=True, slots=True)
class Metrics:
    """Measures of one face, in parts of the type size.

    Attributes:
        advance: Width that a character takes, by character.
        top: Highest ink above the baseline, only where it stands out of the line.
        bottom: Lowest ink (negative), only where it stands out of the line.
    """

    advance: dict[str, float]
    top: dict[str, float]
    bottom: dict[str, float]


@cache
def metrics(face: Face) -> Metrics:
    """Read a face's measures; characters that would hit their neighbours are left out."""
    data = face.path.read_bytes()
    tables = _tables(data)
    units = struct.unpack_from(">H", data, tables["head"] + 18)[0]
    long_offsets = struct.unpack_from(">h", data, tables["head"] + 50)[0] == 1
    glyph_count = struct.unpack_from(">H", data, tables["maxp"] + 4)[0]
    wide_count = struct.unpack_from(">H", data, tables["hhea"] + 34)[0]
    pairs = struct.unpack_from(f">{wide_count * 2}H", data, tables["hmtx"])
    offsets = struct.unpack_from(
        f">{glyph_count + 1}{'I' if long_offsets else 'H'}", data, tables["loca"]
    )
    scale = 1 if long_offsets else 2
    advance: dict[str, float] = {}
    top: dict[str, float] = {}
    bottom: dict[str, float] = {}
    for character, glyph in _character_map(data, tables["cmap"]).items():
        width = pairs[2 * min(glyph, wide_count - 1)]
        start, end = offsets[glyph] * scale, offsets[glyph + 1] * scale
        if end > start:
            _, y_min, x_max, y_max = struct.unpack_from(">4h", data, tables["glyf"] + start + 2)
            if width and x_max > width + _OVERHANG * units:
                continue
            if y_max > ASCENT * units:
                top[character] = y_max / units
            if y_min < -DESCENT * units:
                bottom[character] = y_min / units
        advance[character] = width / units
    return Metrics(advance, top, bottom)


def _tables(data: bytes) -> dict[str, int]:
    count = struct.unpack_from(">H", data, 4)[0]
    found = {}
    for index in range(count):
        tag, _, offset, _ = struct.unpack_from(">4sIII", data, 12 + 16 * index)
        found[tag.decode("ascii")] = offset
    return found


def _character_map(data: bytes, cmap: int) -> dict[str, int]:
    """Character to glyph number, from the format 12 subtable (full Unicode)."""
    count = struct.unpack_from(">H", data, cmap + 2)[0]
    for index in range(count):
        offset = cmap + struct.unpack_from(">I", data, cmap + 4 + 8 * index + 4)[0]
        if struct.unpack_from(">H", data, offset)[0] == 12:
            break
    else:
        raise ValueError("the face has no full Unicode character map")
    groups = struct.unpack_from(">I", data, offset + 12)[0]
    found: dict[str, int] = {}
    for index in range(groups):
        first, last, glyph = struct.unpack_from(">3I", data, offset + 16 + 12 * index)
        for code in range(first, last + 1):
            found[chr(code)] = glyph + code - first
    return found
