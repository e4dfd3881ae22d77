"""A label on a stock: the symbol as large as it may be, the words in the room that is left."""

from __future__ import annotations

from collections.abc import Sequence

from crib.errors import Invalid
from crib.sentence import sentence
from crib.units import MM_PER_IN
from labels.assembly_label import below_symbol, beside_symbol
from labels.boxes import Laid, SymbolBox, TextBox
from labels.code_symbol import (
    PREFERRED_MODULE_MM,
    QUIET_ZONE,
    Symbol,
    dots_per_module,
    make_symbol,
)
from labels.kinds import AssemblyLabel, Label
from labels.layout import COMFORT, Grid, Row, make_ready, place, share_out
from labels.media import Stock
from labels.payload import address_prefix, make_payload
from labels.plates import DESIGNS

#: Between the symbol's quiet zone and the label's edge, at least; between symbol and text [mm].
_EDGE_MM = 0.5
_GAP_MM = 0.5
#: Shares of the printable height and width that a symbol may take.
_TALL, _WIDE = 0.78, 0.42
#: Type grows less than the label does: a larger label also says more.
_GROWTH = 0.75


def lay_out(label: Label, stock: Stock, address: str | None = None) -> Laid:
    """Lay a label out for a stock.

    Args:
        label: What it says.
        stock: What it is printed on.
        address: The site's public address, None for a bare code in the symbol.

    Raises:
        BadCode: The label's code is mistyped.
        Invalid: The code, an offset or the symbol does not fit uncut; says what would help.
    """
    payload = make_payload(label.code, address)
    symbol = make_symbol(payload)
    scale = _scale(stock)
    if isinstance(label, AssemblyLabel):
        beside, below = beside_symbol(label, scale), below_symbol(label, scale)
    else:
        beside, below = DESIGNS[type(label)](label, scale)
    inner_width = stock.label_width_mm - 2 * stock.margin_mm
    inner_height = stock.label_height_mm - 2 * stock.margin_mm
    room = min(inner_height * _TALL, inner_width * _WIDE)
    dots = dots_per_module(symbol.side_modules, room, stock.dpi)
    best: tuple[SymbolBox, list[TextBox]] | None = None
    while dots is not None:
        box = _symbol_box(symbol, dots, stock)
        tried = _words(beside, below, box, stock)
        if tried is not None:
            texts, share = tried
            best = (box, texts)
            # A symbol gives way to the words down to the wanted module, not further.
            if share >= COMFORT or box.module_mm <= PREFERRED_MODULE_MM * 1.05:
                break
        dots = dots_per_module(symbol.side_modules, box.side_mm - 0.01, stock.dpi)
    if best is None:
        raise Invalid(
            (
                sentence(
                    "The label of {code} does not fit on '{stock}': its code, offsets and "
                    "symbol are never cut. Take a larger stock or a shorter public address.",
                    code=label.code,
                    stock=stock.stock,
                )
                if address_prefix(address)
                else sentence(
                    "The label of {code} does not fit on '{stock}': its code, offsets and "
                    "symbol are never cut. Take a larger stock.",
                    code=label.code,
                    stock=stock.stock,
                )
            ),
            facts={"code": label.code, "stock": stock.stock},
        )
    box, texts = best
    return Laid(stock.label_width_mm, stock.label_height_mm, tuple(texts), (), box)


def _scale(stock: Stock) -> float:
    """How much larger than on the smallest label words are wanted."""
    wide = (stock.label_width_mm - 2 * stock.margin_mm) / 47.0
    tall = (stock.label_height_mm - 2 * stock.margin_mm) / 22.0
    return float(min(max(min(wide, tall), 1.0), 3.0) ** _GROWTH)


def _symbol_box(symbol: Symbol, dots: int, stock: Stock) -> SymbolBox:
    # The quiet zone may lie in the margin: it is blank anyway.
    quiet_mm = QUIET_ZONE * dots * MM_PER_IN / stock.dpi
    inset = max(_EDGE_MM, stock.margin_mm - quiet_mm)
    return SymbolBox(inset, inset, symbol, dots, stock.dpi)


def _words(
    beside: Sequence[Row | Grid], below: Sequence[Row | Grid], box: SymbolBox, stock: Stock
) -> tuple[list[TextBox], float] | None:
    """The texts right of and below a symbol, and the share of growth that type came to."""
    margin = stock.margin_mm
    right = stock.label_width_mm - margin
    bottom = stock.label_height_mm - margin
    left = box.x_mm + box.side_mm + _GAP_MM
    upper = make_ready(beside, right - left)
    lower = make_ready(below, right - margin)
    if upper is None or lower is None:
        return None
    shared = share_out(upper, lower, margin, box.y_mm + box.side_mm, bottom)
    if shared is None:
        return None
    middle, share = shared
    texts = place(upper, left, margin, right - left, middle - margin)
    texts += place(lower, margin, middle, right - margin, bottom - middle)
    return texts, share
