"""Ink on paper: the only module that draws. The same input gives the same bytes."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from functools import cache

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from crib.errors import Invalid
from crib.sentence import sentence
from crib.units import MM_PER_IN
from labels.arrange import lay_out
from labels.boxes import Laid, SymbolBox
from labels.code_symbol import QUIET_ZONE
from labels.kinds import Label
from labels.kit_sheet import KIT_SHEET, KitSheet, lay_out_kit_sheet
from labels.media import Stock
from labels.swap_sheet import SHIFT_SHEET, ShiftSheet, lay_out_shift_sheet
from labels.table import Say
from labels.typeface import Face

_MM = 72 / MM_PER_IN


def render_labels(
    labels: Sequence[Label], stock: Stock, start_cell: int = 1, address: str | None = None
) -> bytes:
    """Print labels on a stock.

    Args:
        labels: What to print, in order.
        stock: What to print on; a roll gives one page a label.
        start_cell: First free cell of the first sheet, from 1, row by row.
        address: The site's public address for the symbols; None for bare codes.

    Returns:
        A PDF document.

    Raises:
        Invalid: No labels, a cell that the sheet does not have, or a label that cannot fit.
        BadCode: A label's code is mistyped.
    """
    if not labels:
        raise Invalid(sentence("There is nothing to print: name at least one code."))
    if not 1 <= start_cell <= stock.cells:
        raise Invalid(
            sentence(
                "'{stock}' has cells 1 to {cells}; there is no cell {start_cell}.",
                stock=stock.stock,
                cells=stock.cells,
                start_cell=start_cell,
            ),
            errors=[
                {
                    "field": "start_cell",
                    "detail": sentence("must be 1 to {cells}", cells=stock.cells),
                }
            ],
        )
    # All is laid out before anything is drawn, so that a refusal leaves nothing half done.
    laid = [lay_out(label, stock, address) for label in labels]
    page_mm = (stock.page_width_mm, stock.page_height_mm)
    sink, canvas = _open(page_mm, "Labels")
    cell = start_cell
    for index, one in enumerate(laid):
        _draw(canvas, one, *stock.cell_origin_mm(cell), stock.page_height_mm)
        cell += 1
        if cell > stock.cells and index + 1 < len(laid):
            canvas.showPage()
            cell = 1
    canvas.save()
    return sink.getvalue()


def render_pages(pages: Iterable[Laid], title: str) -> bytes:
    """Print whole pages, already laid out, all of the first one's size.

    Raises:
        Invalid: No pages.
    """
    whole = list(pages)
    if not whole:
        raise Invalid(sentence("There is nothing to print."))
    sink, canvas = _open((whole[0].width_mm, whole[0].height_mm), title)
    for index, page in enumerate(whole):
        if index:
            canvas.showPage()
        _draw(canvas, page, 0.0, 0.0, page.height_mm)
    canvas.save()
    return sink.getvalue()


def render_shift_sheet(sheet: ShiftSheet, paper: str = "A4", say: Say = str) -> bytes:
    """Print a shift sheet on A4 or Letter, its sentences as ``say`` says them.

    Raises:
        Invalid: No such paper.
    """
    return render_pages(lay_out_shift_sheet(sheet, paper, say), say(SHIFT_SHEET))


def render_kit_sheet(sheet: KitSheet, paper: str = "A4", say: Say = str) -> bytes:
    """Print a changeover's kit sheet on A4 or Letter, its sentences as ``say`` says them.

    Raises:
        Invalid: No such paper.
    """
    return render_pages(lay_out_kit_sheet(sheet, paper, say), say(KIT_SHEET))


@cache
def _register_faces() -> None:
    for face in Face:
        pdfmetrics.registerFont(TTFont(face.value, str(face.path), shapable=False))


def _open(page_mm: tuple[float, float], title: str) -> tuple[io.BytesIO, Canvas]:
    _register_faces()
    sink = io.BytesIO()
    canvas = Canvas(
        sink,
        pagesize=(page_mm[0] * _MM, page_mm[1] * _MM),
        pageCompression=1,
        invariant=1,
        initialFontName=Face.TEXT.value,
    )
    canvas.setTitle(title)
    canvas.setAuthor("")
    canvas.setCreator("crib")
    return sink, canvas


def _draw(
    canvas: Canvas, laid: Laid, left_mm: float, top_mm: float, page_height_mm: float
) -> None:
    if laid.symbol is not None:
        _draw_symbol(canvas, laid.symbol, left_mm, top_mm, page_height_mm)
    for rule in laid.rules:
        canvas.rect(
            (left_mm + rule.x_mm) * _MM,
            (page_height_mm - top_mm - rule.y_mm - rule.height_mm) * _MM,
            rule.width_mm * _MM,
            rule.height_mm * _MM,
            stroke=0,
            fill=1,
        )
    ink = canvas.beginText()
    for text in laid.texts:
        ink.setFont(text.face.value, text.size_pt)
        ink.setTextOrigin(
            (left_mm + text.x_mm) * _MM, (page_height_mm - top_mm - text.baseline_mm) * _MM
        )
        ink.textOut(text.shown)
    canvas.drawText(ink)


def _draw_symbol(
    canvas: Canvas, box: SymbolBox, left_mm: float, top_mm: float, page_height_mm: float
) -> None:
    """Draw a symbol as one filled path, its top left corner on a whole printer dot."""
    dot = MM_PER_IN / box.dpi
    x_mm = round((left_mm + box.x_mm) / dot) * dot
    y_mm = round((top_mm + box.y_mm) / dot) * dot
    module = box.module_mm * _MM
    rectangles = "".join(
        [
            f"{column} {-row - rows} {columns} {rows} re "
            for column, row, columns, rows in box.symbol.runs
        ]
    )
    x = x_mm * _MM + QUIET_ZONE * module
    y = (page_height_mm - y_mm) * _MM - QUIET_ZONE * module
    canvas.addLiteral(f"q {module:.6f} 0 0 {module:.6f} {x:.5f} {y:.5f} cm 0 g {rectangles}f Q")
