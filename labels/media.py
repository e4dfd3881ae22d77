"""Label stocks as data: sizes, margins and grids, the built-in ones and a shop's own."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

from crib.errors import Invalid, NotKnown

BUILT_IN = Path(__file__).parent / "stocks.json"

#: The smallest label that every kind fits on, and the largest page that is taken for one [mm].
SMALLEST_WIDTH_MM = 50.0
SMALLEST_HEIGHT_MM = 25.0
LARGEST_MM = 1200.0

_ROLL_KEYS = ("label_width_mm", "label_height_mm", "margin_mm")
_SHEET_KEYS = (
    "page_width_mm",
    "page_height_mm",
    "left_mm",
    "top_mm",
    "column_gap_mm",
    "row_gap_mm",
)


@dataclass(frozen=True, slots=True)
class Stock:
    """One kind of label material.

    Attributes:
        stock: Its name.
        kind: ``roll`` (one label a page) or ``sheet`` (a grid of labels on a page).
        label_width_mm: Width of one label [mm].
        label_height_mm: Height of one label [mm].
        margin_mm: What stays blank inside the label's edge [mm].
        dpi: Dots per inch of the printer.
        page_width_mm: Width of the page [mm].
        page_height_mm: Height of the page [mm].
        columns: Labels side by side.
        rows: Labels below each other.
        left_mm: From the page's left edge to the first column [mm].
        top_mm: From the page's top edge to the first row [mm].
        column_gap_mm: Between columns [mm].
        row_gap_mm: Between rows [mm].
    """

    stock: str
    kind: str
    label_width_mm: float
    label_height_mm: float
    margin_mm: float
    dpi: int
    page_width_mm: float
    page_height_mm: float
    columns: int = 1
    rows: int = 1
    left_mm: float = 0.0
    top_mm: float = 0.0
    column_gap_mm: float = 0.0
    row_gap_mm: float = 0.0

    @property
    def cells(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows

    def cell_origin_mm(self, cell: int) -> tuple[float, float]:
        """Left and top edge of a cell [mm]; cells count from 1, row by row."""
        row, column = divmod(cell - 1, self.columns)
        return (
            self.left_mm + column * (self.label_width_mm + self.column_gap_mm),
            self.top_mm + row * (self.label_height_mm + self.row_gap_mm),
        )


def load_stocks(own: Path | None = None) -> dict[str, Stock]:
    """The built-in stocks, and a shop's own by name (an own one replaces a built-in one).

    Args:
        own: A JSON file of the same shape as ``labels/stocks.json``.

    Raises:
        Invalid: The file cannot be read, or a stock in it cannot be; says which, and why.
    """
    stocks = dict(_built_in())
    if own is not None:
        stocks.update(read_stocks(own))
    return stocks


def stock_named(name: str, stocks: Mapping[str, Stock]) -> Stock:
    """The stock of that name.

    Raises:
        NotKnown: There is none; names those there are.
    """
    found = stocks.get(name)
    if found is None:
        raise NotKnown(
            f"There is no label stock '{name[:60]}'. Stocks here: {', '.join(sorted(stocks))}.",
            facts={"stock": name[:60]},
        )
    return found


@cache
def _built_in() -> dict[str, Stock]:
    return read_stocks(BUILT_IN)


def read_stocks(path: Path) -> dict[str, Stock]:
    """Read and check a file of stocks.

    Raises:
        Invalid: As in :func:`load_stocks`.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError, RecursionError) as problem:
        raise Invalid(f"The stock file {path.name} cannot be read: {problem}.") from problem
    if not isinstance(document, dict) or not isinstance(document.get("stocks"), list):
        raise Invalid(
            f'The stock file {path.name} must be one object with a list: {{"stocks": […]}}.'
        )
    stocks: dict[str, Stock] = {}
    for number, record in enumerate(document["stocks"], start=1):
        where = f"{path.name}, stock {number}"
        stock = _read_stock(record, where)
        if stock.stock in stocks:
            raise Invalid(f"{where}: the name '{stock.stock}' is there twice.")
        stocks[stock.stock] = stock
    return stocks


def _read_stock(record: object, where: str) -> Stock:
    if not isinstance(record, dict):
        raise Invalid(f"{where}: must be an object with the stock's measures.")
    name = record.get("stock")
    if (
        not isinstance(name, str)
        or not name.strip()
        or len(name) > 40
        or not name.isprintable()
    ):
        raise Invalid(f"{where}: 'stock' must be a name of 1 to 40 characters.")
    where = f"{where} ('{name}')"
    kind = record.get("kind")
    if kind not in ("roll", "sheet"):
        raise Invalid(f'{where}: \'kind\' is {kind!r}; it must be "roll" or "sheet".')
    allowed = {field.name for field in fields(Stock)}
    if kind == "roll":
        allowed -= {*_SHEET_KEYS, "columns", "rows"}
    unknown = sorted(set(record) - allowed)
    if unknown:
        raise Invalid(f"{where}: unknown for a {kind}: {', '.join(unknown)}.")
    measures = {key: _number(record, key, where) for key in _ROLL_KEYS}
    dpi = _whole(record, "dpi", where, 150, 1200)
    if kind == "roll":
        stock = Stock(
            stock=name,
            kind=kind,
            dpi=dpi,
            page_width_mm=measures["label_width_mm"],
            page_height_mm=measures["label_height_mm"],
            columns=1,
            rows=1,
            **measures,
        )
    else:
        stock = Stock(
            stock=name,
            kind=kind,
            dpi=dpi,
            columns=_whole(record, "columns", where, 1, 50),
            rows=_whole(record, "rows", where, 1, 50),
            **measures,
            **{key: _number(record, key, where) for key in _SHEET_KEYS},
        )
    _check_measures(stock, where)
    return stock


def _number(record: Mapping[str, object], key: str, where: str) -> float:
    value = record.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Invalid(f"{where}: '{key}' must be a number of millimetres, not {value!r}.")
    if not math.isfinite(value) or not 0 <= value <= LARGEST_MM:
        raise Invalid(f"{where}: '{key}' is {value}; it must lie in 0 to {LARGEST_MM:g} mm.")
    return float(value)


def _whole(record: Mapping[str, object], key: str, where: str, least: int, most: int) -> int:
    value = record.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise Invalid(
            f"{where}: '{key}' must be a whole number of {least} to {most}, not {value!r}."
        )
    return value


def _check_measures(stock: Stock, where: str) -> None:
    if stock.label_width_mm < SMALLEST_WIDTH_MM or stock.label_height_mm < SMALLEST_HEIGHT_MM:
        raise Invalid(
            f"{where}: a label of {stock.label_width_mm:g} x {stock.label_height_mm:g} mm is "
            f"too small; it takes {SMALLEST_WIDTH_MM:g} x {SMALLEST_HEIGHT_MM:g} mm at least."
        )
    inner_width = stock.label_width_mm - 2 * stock.margin_mm
    inner_height = stock.label_height_mm - 2 * stock.margin_mm
    if inner_width < SMALLEST_WIDTH_MM - 3 or inner_height < SMALLEST_HEIGHT_MM - 3:
        raise Invalid(
            f"{where}: a margin of {stock.margin_mm:g} mm leaves {inner_width:g} x "
            f"{inner_height:g} mm to print on; it takes {SMALLEST_WIDTH_MM - 3:g} x "
            f"{SMALLEST_HEIGHT_MM - 3:g} mm at least."
        )
    right, bottom = stock.cell_origin_mm(stock.cells)
    right += stock.label_width_mm
    bottom += stock.label_height_mm
    # A hundredth of a millimetre is left to those who round their sheet's measures.
    if right > stock.page_width_mm + 0.01 or bottom > stock.page_height_mm + 0.01:
        raise Invalid(
            f"{where}: the grid ends at {right:g} x {bottom:g} mm, outside the page of "
            f"{stock.page_width_mm:g} x {stock.page_height_mm:g} mm."
        )
