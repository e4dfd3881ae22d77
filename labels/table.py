"""Printed tables over as many pages as needed: wrapped cells, repeated heads, page numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from crib.errors import Invalid
from crib.sentence import sentence
from labels.boxes import Laid, Rule, TextBox
from labels.text import PT_MM, fit, line_height_mm, printable, width_em, wrap
from labels.typeface import Face

#: Paper by name: width and height upright [mm] (A4: ISO 216; Letter: 8.5 x 11 in).
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

_MARGIN_MM = 12.0
_TITLE_PT, _HEAD_PT, _BODY_PT, _SMALL_PT, _FOOT_PT = 15.0, 8.0, 8.5, 9.0, 7.0
_CELL_GAP_MM = 2.2
_ROW_GAP_MM = 1.2
_TABLE_PT, _TABLE_GAP_MM = 11.0, 4.5
#: Width that the foot keeps for the page number [mm].
_PAGE_OF_MM = 22.0
#: How far a row's note stands in from the margin [mm].
_NOTE_MM = 12.0
#: How far type, rows and gaps may shrink to save a page: no less than 6.8 pt.
_SCALES = (1.0, 0.9, 0.8)
_THIN_MM, _THICK_MM = 0.15, 0.4

#: Says a text in the language of the shop; what is no sentence stays as it is.
Say = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its head, its share of the width, whether its cells stand right."""

    title: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of cells; a strong one is set in bold.

    Attributes:
        cells: One text a column.
        strong: Whether it is set in bold.
        note: What is too long for a column: it runs across the page below the cells.
    """

    cells: tuple[str, ...]
    strong: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table under its heading; ``empty`` is printed where there are no rows."""

    heading: str
    columns: tuple[Column, ...]
    rows: tuple[TableRow, ...]
    empty: str


@dataclass(frozen=True, slots=True)
class Report:
    """A printed report.

    Attributes:
        title: In the head of every page.
        site: At the right of the head.
        lines: Facts below the title, each on a line of its own.
        tables: In order.
        cautions: In the foot of every page.
    """

    title: str
    site: str
    lines: tuple[str, ...]
    tables: tuple[Table, ...]
    cautions: tuple[str, ...]


#: Head of the column of boxes to tick.
DONE = sentence("done")


@dataclass(slots=True)
class _Page:
    texts: list[TextBox] = field(default_factory=list)
    rules: list[Rule] = field(default_factory=list)


def left_out_table(problems: Sequence[str]) -> Table:
    """What the sheet leaves out, to tick off once it is solved."""
    columns = (Column(DONE, 0.8), Column(sentence("what to do"), 18.4))
    rows = tuple(TableRow(("☐", why)) for why in problems)
    heading = sentence("Not worked out ({number})", number=len(rows))
    return Table(heading, columns, rows, "")


def lay_out_report(
    report: Report,
    paper: str = "A4",
    *,
    most_pages: int,
    say: Say = str,
) -> list[Laid]:
    """Lay a report out on pages that lie on their long side.

    Nothing is cut: what needs more pages than wanted even in small type gets them.

    Args:
        report: What it says.
        paper: ``A4`` or ``Letter``.
        most_pages: Pages that it should take at most: its type shrinks for that.
        say: Says its sentences in the language of the shop.

    Raises:
        Invalid: No such paper.
    """
    if paper not in PAPERS_MM:
        raise Invalid(sentence("There is no paper '{paper}': A4 or Letter.", paper=paper[:40]))
    width, height = PAPERS_MM[paper]
    for scale in _SCALES:
        pages = _pages(report, (height, width), say, scale)
        if len(pages) <= most_pages:
            return pages
    return _pages(report, (height, width), say, 1.0)


def _pages(report: Report, size_mm: tuple[float, float], say: Say, scale: float) -> list[Laid]:
    flow = _Flow(report, size_mm, say, scale)
    for table in report.tables:
        flow.add_table(table)
    return flow.finish()


class _Flow:
    """Fills pages from top to bottom."""

    def __init__(
        self, report: Report, size_mm: tuple[float, float], say: Say, scale: float
    ) -> None:
        self.report = report
        self.say = say
        self.width_mm, self.height_mm = size_mm
        self.head_pt, self.body_pt = scale * _HEAD_PT, scale * _BODY_PT
        self.table_pt, self.table_gap_mm = scale * _TABLE_PT, scale * _TABLE_GAP_MM
        self.row_gap_mm = scale * _ROW_GAP_MM
        self.inner_mm = self.width_mm - 2 * _MARGIN_MM
        self.caution_mm = (self.inner_mm - _PAGE_OF_MM) / max(len(report.cautions), 1)
        self.foot = [
            wrap(printable(say(one)), Face.TEXT, self.caution_mm - 2 * _CELL_GAP_MM, _FOOT_PT)
            for one in report.cautions
        ]
        self.foot_lines = max(map(len, self.foot), default=1)
        foot_mm = line_height_mm(_FOOT_PT) * self.foot_lines + 2.0
        self.bottom_mm = self.height_mm - _MARGIN_MM - foot_mm
        self.pages: list[_Page] = []
        self.at_mm = 0.0
        self.new_page()

    def new_page(self) -> None:
        """Begin a page with the report's head."""
        self.pages.append(_Page())
        self.at_mm = _MARGIN_MM
        site = fit(printable(self.report.site), Face.TEXT, self.inner_mm * 0.4, _SMALL_PT, 6.0)
        site_mm = site.width_mm if site else 0.0
        self.line(self.report.title, Face.BOLD, _TITLE_PT, self.inner_mm - site_mm - 3.0)
        if site and site.shown:
            x = self.width_mm - _MARGIN_MM - site.width_mm
            y = self.at_mm - line_height_mm(_SMALL_PT) - 1.0
            self.pages[-1].texts.append(
                TextBox(x, y, site.width_mm, site.shown, Face.TEXT, site.size_pt, site.cut)
            )
        for text in self.report.lines:
            self.line(text, Face.TEXT, _SMALL_PT, self.inner_mm)
        self.at_mm += 1.0
        self.rule(_THICK_MM)
        self.at_mm += 2.0

    def line(self, text: str, face: Face, size_pt: float, width_mm: float) -> None:
        """One line that shrinks and is cut, below what is there."""
        fitted = fit(printable(self.say(text)), face, width_mm, size_pt, 0.7 * size_pt)
        if fitted is not None and fitted.shown:
            self.pages[-1].texts.append(
                TextBox(
                    _MARGIN_MM,
                    self.at_mm,
                    fitted.width_mm,
                    fitted.shown,
                    face,
                    fitted.size_pt,
                    fitted.cut,
                )
            )
        self.at_mm += line_height_mm(size_pt)

    def rule(self, thickness_mm: float) -> None:
        """A line across the page, where the next row would begin."""
        self.pages[-1].rules.append(Rule(_MARGIN_MM, self.at_mm, self.inner_mm, thickness_mm))

    def add_table(self, table: Table) -> None:
        """Set a table, over several pages where needed."""
        widths = _column_widths(table.columns, self.inner_mm)
        head_mm = self.head_height(table, widths)
        row_mm = line_height_mm(self.body_pt) * 2 + self.row_gap_mm
        if self.at_mm + head_mm + row_mm > self.bottom_mm:
            self.new_page()
        self.table_head(table, widths)
        if not table.rows:
            self.line(table.empty, Face.TEXT, self.body_pt, self.inner_mm)
        for row in table.rows:
            face = Face.BOLD if row.strong else Face.TEXT
            cells = self.wrapped(row.cells, face, widths, self.body_pt)
            self.add_row(table, widths, cells, face, self.wrapped_note(row))
        self.at_mm += self.table_gap_mm

    def head_height(self, table: Table, widths: Sequence[float]) -> float:
        """Height of a table's heading and column heads [mm]."""
        cells = self.wrapped(_titles(table), Face.BOLD, widths, self.head_pt)
        heads_mm = line_height_mm(self.head_pt) * max(map(len, cells))
        return line_height_mm(self.table_pt) + heads_mm + 0.8 + self.row_gap_mm

    def table_head(
        self, table: Table, widths: Sequence[float], *, continued: bool = False
    ) -> None:
        """Heading and column heads."""
        heading = table.heading
        if continued:
            heading = sentence("{heading} (continued)", heading=heading)
        self.line(heading, Face.BOLD, self.table_pt, self.inner_mm)
        self.at_mm += 0.8
        cells = self.wrapped(_titles(table), Face.BOLD, widths, self.head_pt)
        self.cells(table, widths, cells, Face.BOLD, self.head_pt)
        self.rule(_THICK_MM)
        self.at_mm += self.row_gap_mm

    def add_row(
        self,
        table: Table,
        widths: Sequence[float],
        cells: list[list[str]],
        face: Face,
        note: list[str],
    ) -> None:
        """One row; it moves to the next page whole, split only where no page holds it."""
        step = line_height_mm(self.body_pt)
        while True:
            height = max(map(len, cells), default=0)
            lines = height + len(note)
            room = int((self.bottom_mm - self.at_mm - self.row_gap_mm) / step + 1e-9)
            if lines <= room:
                break
            if lines > self.rows_per_page(table, widths) and room > 0:
                self.cells(table, widths, [cell[:room] for cell in cells], face, self.body_pt)
                cells = [cell[room:] for cell in cells]
                fits = max(room - height, 0)
                self.note(note[:fits], face)
                note = note[fits:]
            self.new_page()
            self.table_head(table, widths, continued=True)
        self.cells(table, widths, cells, face, self.body_pt)
        self.note(note, face)
        self.at_mm += self.row_gap_mm / 2
        self.rule(_THIN_MM)
        self.at_mm += self.row_gap_mm / 2

    def wrapped(
        self, cells: tuple[str, ...], face: Face, widths: Sequence[float], size_pt: float
    ) -> list[list[str]]:
        """Cells in the language of the shop, each wrapped to its column."""
        return [
            wrap(printable(self.say(cell)), face, width, size_pt)
            for cell, width in zip(cells, widths, strict=True)
        ]

    def wrapped_note(self, row: TableRow) -> list[str]:
        """A row's note, wrapped to the page."""
        face = Face.BOLD if row.strong else Face.TEXT
        width = self.inner_mm - _NOTE_MM
        return (
            wrap(printable(self.say(row.note)), face, width, self.body_pt) if row.note else []
        )

    def note(self, lines: list[str], face: Face) -> None:
        """Lines across the page, below a row's cells, and move down."""
        step = line_height_mm(self.body_pt)
        for shown in lines:
            text_mm = width_em(shown, face) * self.body_pt * PT_MM
            x = _MARGIN_MM + _NOTE_MM
            self.pages[-1].texts.append(
                TextBox(x, self.at_mm, text_mm, shown, face, self.body_pt)
            )
            self.at_mm += step

    def rows_per_page(self, table: Table, widths: Sequence[float]) -> int:
        """Lines of a table that a fresh page holds."""
        head = _MARGIN_MM + line_height_mm(_TITLE_PT) + 3.0
        head += line_height_mm(_SMALL_PT) * len(self.report.lines)
        head += self.head_height(table, widths)
        return int((self.bottom_mm - head - 2 * self.row_gap_mm) / line_height_mm(self.body_pt))

    def cells(
        self,
        table: Table,
        widths: Sequence[float],
        cells: list[list[str]],
        face: Face,
        size_pt: float,
    ) -> None:
        """Set lines of cells side by side and move down."""
        step = line_height_mm(size_pt)
        left = _MARGIN_MM
        for column, width, lines in zip(table.columns, widths, cells, strict=True):
            for number, shown in enumerate(lines):
                text_mm = width_em(shown, face) * size_pt * PT_MM
                x = left + (width - text_mm if column.right else 0.0)
                self.pages[-1].texts.append(
                    TextBox(x, self.at_mm + number * step, text_mm, shown, face, size_pt)
                )
            left += width + _CELL_GAP_MM
        self.at_mm += step * max(map(len, cells), default=0)

    def finish(self) -> list[Laid]:
        """The pages, each with the cautions side by side and its number in the foot."""
        step = line_height_mm(_FOOT_PT)
        total = len(self.pages)
        for number, page in enumerate(self.pages, start=1):
            at = self.bottom_mm + 1.0
            page.rules.append(Rule(_MARGIN_MM, at, self.inner_mm, _THIN_MM))
            at += 1.0
            for column, lines in enumerate(self.foot):
                left = _MARGIN_MM + column * self.caution_mm
                for line, shown in enumerate(lines):
                    page.texts.append(_foot_text(left, at + line * step, shown))
            page_of = sentence("page {number} of {total}", number=number, total=total)
            counted = printable(self.say(page_of))
            right = self.width_mm - _MARGIN_MM - _foot_text(0.0, at, counted).width_mm
            at += (self.foot_lines - 1) * step
            page.texts.append(_foot_text(right, at, counted))
        return [
            Laid(self.width_mm, self.height_mm, tuple(page.texts), tuple(page.rules))
            for page in self.pages
        ]


def _foot_text(x_mm: float, y_mm: float, shown: str) -> TextBox:
    width = width_em(shown, Face.TEXT) * _FOOT_PT * PT_MM
    return TextBox(x_mm, y_mm, width, shown, Face.TEXT, _FOOT_PT)


def _titles(table: Table) -> tuple[str, ...]:
    """Heads of the columns; none over a column that no row fills."""
    return tuple(
        column.title if any(row.cells[number] for row in table.rows) else ""
        for number, column in enumerate(table.columns)
    )


def _column_widths(columns: Sequence[Column], inner_mm: float) -> list[float]:
    free = inner_mm - _CELL_GAP_MM * (len(columns) - 1)
    total = sum(column.share for column in columns)
    return [free * column.share / total for column in columns]
