"""Printed tables over as many pages as needed: wrapped cells, repeated heads, page numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from crib.errors import Invalid
from labels.boxes import Laid, Rule, TextBox
from labels.text import PT_MM, fit, line_height_mm, printable, width_em, wrap
from labels.typeface import Face

#: Paper by name: width and height upright [mm] (A4: ISO 216; Letter: 8.5 x 11 in).
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

_MARGIN_MM = 12.0
_TITLE_PT, _HEAD_PT, _BODY_PT, _SMALL_PT, _FOOT_PT = 15.0, 8.0, 8.5, 9.0, 7.0
_CELL_GAP_MM = 2.2
_ROW_GAP_MM = 1.2
_THIN_MM, _THICK_MM = 0.15, 0.4


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its head, its share of the width, whether its cells stand right."""

    title: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of cells; a strong one is set in bold."""

    cells: tuple[str, ...]
    strong: bool = False


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


@dataclass(slots=True)
class _Page:
    texts: list[TextBox] = field(default_factory=list)
    rules: list[Rule] = field(default_factory=list)


def left_out_table(problems: Sequence[str]) -> Table:
    """What the sheet leaves out, to tick off once it is solved."""
    columns = (Column("done", 0.8), Column("what to do", 18.4))
    rows = tuple(TableRow(("☐", why)) for why in problems)
    return Table(f"Not worked out ({len(rows)})", columns, rows, "")


def lay_out_report(report: Report, paper: str = "A4", *, landscape: bool = True) -> list[Laid]:
    """Lay a report out on pages.

    Args:
        report: What it says.
        paper: ``A4`` or ``Letter``.
        landscape: Whether the pages lie on their long side.

    Raises:
        Invalid: No such paper.
    """
    if paper not in PAPERS_MM:
        raise Invalid(f"There is no paper '{paper[:40]}': A4 or Letter.")
    width, height = PAPERS_MM[paper]
    if landscape:
        width, height = height, width
    flow = _Flow(report, width, height)
    for table in report.tables:
        flow.add_table(table)
    return flow.finish()


class _Flow:
    """Fills pages from top to bottom."""

    def __init__(self, report: Report, width_mm: float, height_mm: float) -> None:
        self.report = report
        self.width_mm, self.height_mm = width_mm, height_mm
        self.inner_mm = width_mm - 2 * _MARGIN_MM
        self.foot = [
            line
            for caution in report.cautions
            for line in wrap(printable(caution), Face.TEXT, self.inner_mm, _FOOT_PT)
        ]
        foot_mm = line_height_mm(_FOOT_PT) * (len(self.foot) + 1) + 2.0
        self.bottom_mm = height_mm - _MARGIN_MM - foot_mm
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
        fitted = fit(printable(text), face, width_mm, size_pt, 0.7 * size_pt)
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
        row_mm = line_height_mm(_BODY_PT) * 2 + _ROW_GAP_MM
        if self.at_mm + head_mm + row_mm > self.bottom_mm:
            self.new_page()
        self.table_head(table, widths)
        if not table.rows:
            self.line(table.empty, Face.TEXT, _BODY_PT, self.inner_mm)
        for row in table.rows:
            face = Face.BOLD if row.strong else Face.TEXT
            self.add_row(table, widths, _wrap_cells(row.cells, face, widths, _BODY_PT), face)
        self.at_mm += 5.0

    def head_height(self, table: Table, widths: Sequence[float]) -> float:
        """Height of a table's heading and column heads [mm]."""
        cells = _wrap_cells(tuple(c.title for c in table.columns), Face.BOLD, widths, _HEAD_PT)
        return line_height_mm(11.0) + line_height_mm(_HEAD_PT) * max(map(len, cells)) + 2.8

    def table_head(
        self, table: Table, widths: Sequence[float], *, continued: bool = False
    ) -> None:
        """Heading and column heads."""
        heading = f"{table.heading} (continued)" if continued else table.heading
        self.line(heading, Face.BOLD, 11.0, self.inner_mm)
        self.at_mm += 0.8
        titles = tuple(column.title for column in table.columns)
        cells = _wrap_cells(titles, Face.BOLD, widths, _HEAD_PT)
        self.cells(table, widths, cells, Face.BOLD, _HEAD_PT)
        self.rule(_THICK_MM)
        self.at_mm += _ROW_GAP_MM

    def add_row(
        self, table: Table, widths: Sequence[float], cells: list[list[str]], face: Face
    ) -> None:
        """One row; it moves to the next page whole, split only where no page holds it."""
        step = line_height_mm(_BODY_PT)
        while True:
            lines = max(map(len, cells), default=0)
            room = int((self.bottom_mm - self.at_mm - _ROW_GAP_MM) / step + 1e-9)
            if lines <= room:
                break
            if lines > self.rows_per_page(table, widths) and room > 0:
                self.cells(table, widths, [cell[:room] for cell in cells], face, _BODY_PT)
                cells = [cell[room:] for cell in cells]
            self.new_page()
            self.table_head(table, widths, continued=True)
        self.cells(table, widths, cells, face, _BODY_PT)
        self.at_mm += _ROW_GAP_MM / 2
        self.rule(_THIN_MM)
        self.at_mm += _ROW_GAP_MM / 2

    def rows_per_page(self, table: Table, widths: Sequence[float]) -> int:
        """Lines of a table that a fresh page holds."""
        head = _MARGIN_MM + line_height_mm(_TITLE_PT) + 3.0
        head += line_height_mm(_SMALL_PT) * len(self.report.lines)
        head += self.head_height(table, widths)
        return int((self.bottom_mm - head - 2 * _ROW_GAP_MM) / line_height_mm(_BODY_PT))

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
        """The pages, with their feet."""
        step = line_height_mm(_FOOT_PT)
        total = len(self.pages)
        for number, page in enumerate(self.pages, start=1):
            at = self.bottom_mm + 1.0
            page.rules.append(Rule(_MARGIN_MM, at, self.inner_mm, _THIN_MM))
            at += 1.0
            for line in self.foot:
                page.texts.append(_foot_text(_MARGIN_MM, at, line))
                at += step
            counted = f"page {number} of {total}"
            box = _foot_text(0.0, at, counted)
            page.texts.append(
                _foot_text(self.width_mm - _MARGIN_MM - box.width_mm, at, counted)
            )
        return [
            Laid(self.width_mm, self.height_mm, tuple(page.texts), tuple(page.rules))
            for page in self.pages
        ]


def _foot_text(x_mm: float, y_mm: float, shown: str) -> TextBox:
    width = width_em(shown, Face.TEXT) * _FOOT_PT * PT_MM
    return TextBox(x_mm, y_mm, width, shown, Face.TEXT, _FOOT_PT)


def _column_widths(columns: Sequence[Column], inner_mm: float) -> list[float]:
    free = inner_mm - _CELL_GAP_MM * (len(columns) - 1)
    total = sum(column.share for column in columns)
    return [free * column.share / total for column in columns]


def _wrap_cells(
    cells: tuple[str, ...], face: Face, widths: Sequence[float], size_pt: float
) -> list[list[str]]:
    return [
        wrap(printable(cell), face, width, size_pt)
        for cell, width in zip(cells, widths, strict=True)
    ]
