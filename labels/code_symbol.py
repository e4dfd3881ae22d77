"""From payload to printable symbol: version, error level, quiet zone, whole printer dots.

QR code after ISO/IEC 18004. Thermal printers lay down whole dots; a module of a broken number
of dots comes out uneven and does not read, so module sizes are counted in dots.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache

from qrcode import QRCode, base, constants, util

from crib.errors import Invalid
from crib.sentence import sentence
from crib.units import MM_PER_IN

#: Blank modules on every side (ISO/IEC 18004).
QUIET_ZONE = 4
#: Smallest module that oily labels and hand scanners bear, and the largest worth its room [mm]
#: (common practice, no source).
SMALLEST_MODULE_MM = 0.33
PREFERRED_MODULE_MM = 0.5
LARGEST_MODULE_MM = 0.8
FEWEST_DOTS = 3
LARGEST_VERSION = 10

# One mask for all: choosing among the eight costs ten times the rest of the work. The standard
# asks for the best one to help poor readers; any reader takes any mask; the tests read back.
_MASK = 3
_LEVELS = {"M": constants.ERROR_CORRECT_M, "Q": constants.ERROR_CORRECT_Q}


@dataclass(frozen=True, slots=True)
class Symbol:
    """A symbol as rectangles of dark modules.

    Attributes:
        payload: The text it carries.
        version: 1 to 10.
        level: Error level, M or Q.
        modules: Modules per side, without the quiet zone.
        runs: Dark rectangles (column, row, columns, rows) from the top left, in modules.
    """

    payload: str
    version: int
    level: str
    modules: int
    runs: tuple[tuple[int, int, int, int], ...]

    @property
    def side_modules(self) -> int:
        """Modules per side, with the quiet zone."""
        return self.modules + 2 * QUIET_ZONE


@lru_cache(maxsize=2048)
def make_symbol(payload: str) -> Symbol:
    """Encode alphanumeric text: smallest version at level M, level Q where that costs nothing.

    Raises:
        Invalid: The text is too long or holds characters outside the alphanumeric mode.

    Examples:
        >>> symbol = make_symbol("H00001K")
        >>> symbol.version, symbol.level, symbol.side_modules
        (1, 'Q', 29)
    """
    version, level = choose_version(payload)
    maker = QRCode(
        version=version, error_correction=_LEVELS[level], border=0, mask_pattern=_MASK
    )
    maker.add_data(util.QRData(payload.encode("ascii"), mode=util.MODE_ALPHA_NUM), optimize=0)
    maker.make(fit=False)
    return Symbol(payload, version, level, len(maker.modules), _runs(maker.modules))


def choose_version(payload: str) -> tuple[int, str]:
    """Version and error level for an alphanumeric text.

    Raises:
        Invalid: As in :func:`make_symbol`.
    """
    if not payload or any(ord(c) > 127 or c.encode() not in util.ALPHA_NUM for c in payload):
        raise Invalid(
            sentence(
                "'{payload}' cannot go into a symbol: only 0-9 A-Z space $%*+-./: can.",
                payload=payload[:60],
            )
        )
    version = _version_for(len(payload), "M")
    if _version_for(len(payload), "Q") == version:
        return version, "Q"
    return version, "M"


@cache
def _version_for(length: int, level: str) -> int:
    for version in range(1, LARGEST_VERSION + 1):
        if length <= alphanumeric_capacity(version, level):
            return version
    if level == "Q":
        return LARGEST_VERSION + 1
    raise Invalid(
        sentence(
            "{length} characters are too many for a label's symbol "
            "({alphanumeric_capacity} fit): use a shorter public address.",
            length=length,
            alphanumeric_capacity=alphanumeric_capacity(LARGEST_VERSION, "M"),
        )
    )


@cache
def alphanumeric_capacity(version: int, level: str) -> int:
    """Most alphanumeric characters that a version holds (ISO/IEC 18004, table 7).

    Computed from the data codewords: 4 bits of mode, a count of 9 (11 from version 10) bits,
    then 11 bits for two characters, 6 for a last single one.
    """
    bits: int = 8 * sum(block.data_count for block in base.rs_blocks(version, _LEVELS[level]))
    left = bits - 4 - (9 if version < 10 else 11)
    return left // 11 * 2 + (1 if left % 11 >= 6 else 0)


def _runs(modules: list[list[bool | None]]) -> tuple[tuple[int, int, int, int], ...]:
    """Merge dark modules into runs, and equal runs below each other into one rectangle."""
    done: list[tuple[int, int, int, int]] = []
    open_runs: dict[tuple[int, int], int] = {}
    for row in range(len(modules) + 1):
        found = _row_runs(modules[row]) if row < len(modules) else []
        still = {run: open_runs.get(run, row) for run in found}
        for (start, length), since in open_runs.items():
            if still.get((start, length)) != since:
                done.append((start, since, length, row - since))
        open_runs = still
    return tuple(done)


def _row_runs(cells: list[bool | None]) -> list[tuple[int, int]]:
    found = []
    start = None
    for column, dark in enumerate([*cells, False]):
        if dark and start is None:
            start = column
        elif not dark and start is not None:
            found.append((start, column - start))
            start = None
    return found


def dots_per_module(side_modules: int, room_mm: float, dpi: int) -> int | None:
    """Whole printer dots per module for a symbol in a square room.

    Args:
        side_modules: Modules per side, with the quiet zone.
        room_mm: Side of the room [mm].
        dpi: Printer dots per inch.

    Returns:
        Dots per module, as many as the room takes up to the largest module; None where even the
        smallest does not fit.

    Examples:
        >>> dots_per_module(29, 15.0, 203)
        4
    """
    dot_mm = MM_PER_IN / dpi
    fewest = max(FEWEST_DOTS, math.ceil(SMALLEST_MODULE_MM / dot_mm - 1e-9))
    most = max(fewest, math.floor(LARGEST_MODULE_MM / dot_mm + 1e-9))
    dots = min(most, math.floor(room_mm / (side_modules * dot_mm) + 1e-9))
    return dots if dots >= fewest else None
