"""Rows of text made to fit a room: shrunk together, cut where allowed, dropped if optional."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from labels.boxes import TextBox
from labels.text import PT_MM, fit, line_height_mm, printable, shown, width_em
from labels.typeface import ASCENT, LINE, Face

#: Blank between two texts of one row, in parts of the type size.
GAP_EM = 0.7
#: Below this share of the way from smallest to wanted size, optional rows make room.
COMFORT = 0.35
#: A first blank between rows, before type grows, in parts of the type size.
_SPREAD = 0.45
#: Most of a row's free width that texts to be kept whole may take.
_KEPT_SHARE = 0.85
#: How far a row shrinks for its width before texts are cut, where its smallest size lets it.
_WIDTH_SHRINK = 0.7


@dataclass(frozen=True, slots=True)
class Piece:
    """One text of a row.

    Attributes:
        text: The text, unchanged.
        face: The typeface.
        may_cut: False for codes and offsets, which are never cut.
        right: Whether it is at the row's right end (the last piece only).
        keep: Whether the others of its row are cut first.
    """

    text: str
    face: Face = Face.TEXT
    may_cut: bool = True
    right: bool = False
    keep: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """Texts side by side, of one size.

    Attributes:
        pieces: From left to right; empty ones are left out.
        size_pt: Wanted type size [pt].
        floor_pt: Smallest type size [pt].
        optional: 0 always stays; the higher, the sooner it makes room.
    """

    pieces: tuple[Piece, ...]
    size_pt: float
    floor_pt: float
    optional: int = 0


@dataclass(frozen=True, slots=True)
class Grid:
    """Lines of cells in aligned columns, never cut; columns named in ``right`` align right."""

    lines: tuple[tuple[Piece, ...], ...]
    size_pt: float
    floor_pt: float
    right: frozenset[int] = frozenset()
    optional: int = 0


@dataclass(slots=True)
class Ready:
    """A row or grid with its texts made printable and measured, once."""

    source: Row | Grid
    lines: list[list[Piece]]
    em: float
    fixed_em: float
    cap_pt: float = 0.0

    def size(self, share: float) -> float:
        """Type size [pt] at a share of growth: 0 the smallest, 1 the wanted size."""
        floor = self.source.floor_pt
        return min(self.cap_pt, floor + share * (self.source.size_pt - floor))


def make_ready(rows: Sequence[Row | Grid], width_mm: float) -> list[Ready] | None:
    """Make rows printable and measure them for a room of a width.

    Returns:
        The rows that say anything; None where a text that is never cut is too wide [mm].
    """
    ready = [made for row in rows if (made := _make_ready(row, width_mm)) is not None]
    kept = []
    for made in ready:
        if made.fixed_em * made.source.floor_pt * PT_MM <= width_mm + 1e-9:
            kept.append(made)
        elif not made.source.optional:
            return None
    return kept


def share_out(
    upper: list[Ready], lower: list[Ready], top_mm: float, middle_mm: float, bottom_mm: float
) -> tuple[float, float] | None:
    """Find where the lower rows begin, dropping optional rows that crowd the others.

    Args:
        upper: Rows from the top edge down.
        lower: Rows that begin at ``middle_mm`` or further down.
        top_mm: Upper edge of the room [mm].
        middle_mm: Where the lower rows may begin at the earliest [mm].
        bottom_mm: Lower edge of the room [mm].

    Returns:
        Where the lower rows begin [mm], and the share of growth that type came to: 0 smallest,
        1 wanted size; None where the rows that must stay do not fit.
    """

    def fits(share: float) -> bool:
        low = heights(lower, share)
        return low <= bottom_mm - middle_mm + 1e-9 and (
            heights(upper, share) + low <= bottom_mm - top_mm + 1e-9
        )

    share = _greatest(fits)
    while share < COMFORT:
        least = max(upper + lower, key=lambda made: made.source.optional, default=None)
        if least is None or not least.source.optional:
            break
        (upper if least in upper else lower).remove(least)
        share = _greatest(fits)
    if share < 0:
        return None
    return max(middle_mm, top_mm + heights(upper, share)), share


def _make_ready(row: Row | Grid, width_mm: float) -> Ready | None:
    if isinstance(row, Grid):
        lines = [[_clean(piece) for piece in line] for line in row.lines]
        if not lines:
            return None
        em = sum(_column_ems(lines)) + GAP_EM * (len(lines[0]) - 1)
        made = Ready(row, lines, em, em)
    else:
        pieces = [cleaned for piece in row.pieces if (cleaned := _clean(piece)).text]
        if not pieces:
            return None
        widths = [_piece_em(piece) for piece in pieces]
        gaps = GAP_EM * (len(pieces) - 1)
        fixed = sum(
            0.0 if piece.may_cut else em for piece, em in zip(pieces, widths, strict=True)
        )
        made = Ready(row, [pieces], sum(widths) + gaps, fixed + gaps)
    if made.em * row.size_pt * PT_MM <= width_mm:
        made.cap_pt = row.size_pt
        return made
    # One long name shrinks its row a little and is then cut; it does not dwarf its neighbours.
    floor = max(row.floor_pt, _WIDTH_SHRINK * row.size_pt)
    if made.fixed_em:
        floor = min(floor, max(row.floor_pt, width_mm / (made.fixed_em * PT_MM)))
    made.cap_pt = max(floor, width_mm / (made.em * PT_MM))
    return made


def _clean(piece: Piece) -> Piece:
    text = printable(piece.text)
    return piece if text == piece.text else replace(piece, text=text)


def _piece_em(piece: Piece) -> float:
    return width_em(shown(piece.text), piece.face)


def _column_ems(lines: list[list[Piece]]) -> list[float]:
    return [max(map(_piece_em, column)) for column in zip(*lines, strict=True)]


def heights(ready: Sequence[Ready], share: float) -> float:
    """Height that rows take at a share of growth [mm]."""
    return LINE * PT_MM * sum([made.size(share) * len(made.lines) for made in ready])


def _greatest(fits: Callable[[float], bool]) -> float:
    """The greatest share of growth that fits; -1 where even the smallest type does not."""
    if fits(1.0):
        return 1.0
    if not fits(0.0):
        return -1.0
    low, high = 0.0, 1.0
    for _ in range(10):
        middle = (low + high) / 2
        if fits(middle):
            low = middle
        else:
            high = middle
    return low


def place(
    ready: Sequence[Ready], x_mm: float, y_mm: float, width_mm: float, height_mm: float
) -> list[TextBox]:
    """Lay rows below each other into a room that they fit, as large as it lets them."""
    share = max(0.0, _greatest(lambda share: heights(ready, share) <= height_mm + 1e-9))
    lines = sum(len(made.lines) for made in ready)
    left_over = max(0.0, height_mm - heights(ready, share))
    boxes: list[TextBox] = []
    at = y_mm
    for made in ready:
        size = made.size(share)
        height = line_height_mm(size)
        gap = min(left_over / lines, _SPREAD * size * PT_MM)
        if isinstance(made.source, Grid):
            boxes += _place_grid(made, size, x_mm, at, height + gap)
        else:
            boxes += _place_row(made, size, x_mm, at, width_mm)
        at += (height + gap) * len(made.lines)
    return boxes


def _place_grid(
    made: Ready, size: float, x_mm: float, y_mm: float, step_mm: float
) -> list[TextBox]:
    assert isinstance(made.source, Grid)  # noqa: S101 - narrows the type for the reader and mypy
    unit = size * PT_MM
    columns = _column_ems(made.lines)
    boxes = []
    for number, line in enumerate(made.lines):
        left = x_mm
        for index, (piece, column) in enumerate(zip(line, columns, strict=True)):
            em = _piece_em(piece)
            indent = (column - em) * unit if index in made.source.right else 0.0
            if piece.text:
                boxes.append(
                    TextBox(
                        left + indent,
                        y_mm + number * step_mm,
                        em * unit,
                        shown(piece.text),
                        piece.face,
                        size,
                    )
                )
            left += (column + GAP_EM) * unit
    return boxes


def _place_row(
    made: Ready, size: float, x_mm: float, y_mm: float, width_mm: float
) -> list[TextBox]:
    pieces = made.lines[0]
    unit = size * PT_MM
    gap = GAP_EM * unit
    rooms = _rooms(pieces, unit, width_mm - gap * (len(pieces) - 1))
    boxes = []
    left = x_mm
    for piece, room in zip(pieces, rooms, strict=True):
        # A hair of slack, so that a text as wide as its room is not cut for a rounding error.
        fitted = fit(piece.text, piece.face, room + 1e-6, size, size, may_cut=piece.may_cut)
        if fitted is None or not fitted.shown:
            left += room + gap
            continue
        at = x_mm + width_mm - fitted.width_mm if piece.right else left
        # Text shrunk for stacked accents keeps the row's baseline.
        lowered = y_mm + ASCENT * (size - fitted.size_pt) * PT_MM
        boxes.append(
            TextBox(
                at,
                lowered,
                fitted.width_mm,
                fitted.shown,
                piece.face,
                fitted.size_pt,
                fitted.cut,
            )
        )
        left += fitted.width_mm + gap
    return boxes


def _rooms(pieces: Sequence[Piece], unit: float, width_mm: float) -> list[float]:
    """Share a row's width: short texts keep all they need, long ones get equal shares."""
    wanted = [_piece_em(piece) * unit for piece in pieces]
    if sum(wanted) <= width_mm:
        return wanted
    rooms = list(wanted)
    left = width_mm - sum(
        room for room, piece in zip(wanted, pieces, strict=True) if not piece.may_cut
    )
    flexible = [index for index, piece in enumerate(pieces) if piece.may_cut]
    kept = [index for index in flexible if pieces[index].keep]
    # Texts to be kept whole get their width first, unless nothing would be left for others.
    if kept and sum(wanted[index] for index in kept) <= left * _KEPT_SHARE:
        left -= sum(wanted[index] for index in kept)
        flexible = [index for index in flexible if not pieces[index].keep]
    flexible.sort(key=wanted.__getitem__)
    for rank, index in enumerate(flexible):
        rooms[index] = max(0.0, min(wanted[index], left / (len(flexible) - rank)))
        left -= rooms[index]
    return rooms
