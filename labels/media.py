"""Label stocks as data: sizes, margins and grids, the built-in ones and a shop's own."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

from crib.errors import Invalid, NotKnown
from crib.sentence import figure, sentence, together

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
            sentence(
                "There is no label stock '{name}'. Stocks here: {stocks}.",
                name=name[:60],
                stocks=together(", ", sorted(stocks)),
            ),
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
        raise Invalid(
            sentence(
                "The stock file {name} cannot be read: {problem}.",
                name=path.name,
                problem=problem,
            )
        ) from problem
    if not isinstance(document, dict) or not isinstance(document.get("stocks"), list):
        raise Invalid(
            sentence(
                'The stock file {name} must be one object with a list: {"stocks": […]}.',
                name=path.name,
            )
        )
    stocks: dict[str, Stock] = {}
    for number, record in enumerate(document["stocks"], start=1):
        where = sentence("{name}, stock {number}", name=path.name, number=number)
        stock = _read_stock(record, where)
        if stock.stock in stocks:
            raise Invalid(
                sentence(
                    "{where}: the name '{stock}' is there twice.",
                    where=where,
                    stock=stock.stock,
                )
            )
        stocks[stock.stock] = stock
    return stocks


def _read_stock(record: object, where: str) -> Stock:
    if not isinstance(record, dict):
        raise Invalid(
            sentence("{where}: must be an object with the stock's measures.", where=where)
        )
    name = record.get("stock")
    if (
        not isinstance(name, str)
        or not name.strip()
        or len(name) > 40
        or not name.isprintable()
    ):
        raise Invalid(
            sentence("{where}: 'stock' must be a name of 1 to 40 characters.", where=where)
        )
    where = where + f" ('{name}')"
    kind = record.get("kind")
    if kind not in ("roll", "sheet"):
        raise Invalid(
            sentence(
                '{where}: \'kind\' is {kind}; it must be "roll" or "sheet".',
                where=where,
                kind=repr(kind),
            )
        )
    allowed = {field.name for field in fields(Stock)}
    if kind == "roll":
        allowed -= {*_SHEET_KEYS, "columns", "rows"}
    unknown = sorted(set(record) - allowed)
    if unknown:
        raise Invalid(
            sentence(
                "{where}: unknown for a {kind}: {unknown}.",
                where=where,
                kind=kind,
                unknown=together(", ", unknown),
            )
        )
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
        raise Invalid(
            sentence(
                "{where}: '{key}' must be a number of millimetres, not {value}.",
                where=where,
                key=key,
                value=repr(value),
            )
        )
    if not math.isfinite(value) or not 0 <= value <= LARGEST_MM:
        raise Invalid(
            sentence(
                "{where}: '{key}' is {value}; it must lie in 0 to {largest_mm} mm.",
                where=where,
                key=key,
                value=value,
                largest_mm=figure(LARGEST_MM, "g"),
            )
        )
    return float(value)


def _whole(record: Mapping[str, object], key: str, where: str, least: int, most: int) -> int:
    value = record.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise Invalid(
            sentence(
                "{where}: '{key}' must be a whole number of {least} to {most}, not {value}.",
                where=where,
                key=key,
                least=least,
                most=most,
                value=repr(value),
            )
        )
    return value


def _check_measures(stock: Stock, where: str) -> None:
    if stock.label_width_mm < SMALLEST_WIDTH_MM or stock.label_height_mm < SMALLEST_HEIGHT_MM:
        raise Invalid(
            sentence(
                "{where}: a label of {label_width_mm} x {label_height_mm} mm is too "
                "small; it takes {smallest_width_mm} x {smallest_height_mm} mm at "
                "least.",
                where=where,
                label_width_mm=figure(stock.label_width_mm, "g"),
                label_height_mm=figure(stock.label_height_mm, "g"),
                smallest_width_mm=figure(SMALLEST_WIDTH_MM, "g"),
                smallest_height_mm=figure(SMALLEST_HEIGHT_MM, "g"),
            )
        )
    inner_width = stock.label_width_mm - 2 * stock.margin_mm
    inner_height = stock.label_height_mm - 2 * stock.margin_mm
    if inner_width < SMALLEST_WIDTH_MM - 3 or inner_height < SMALLEST_HEIGHT_MM - 3:
        raise Invalid(
            sentence(
                "{where}: a margin of {margin_mm} mm leaves {inner_width} x "
                "{inner_height} mm to print on; it takes {smallest_width_mm} x "
                "{smallest_height_mm} mm at least.",
                where=where,
                margin_mm=figure(stock.margin_mm, "g"),
                inner_width=figure(inner_width, "g"),
                inner_height=figure(inner_height, "g"),
                smallest_width_mm=figure(SMALLEST_WIDTH_MM - 3, "g"),
                smallest_height_mm=figure(SMALLEST_HEIGHT_MM - 3, "g"),
            )
        )
    right, bottom = stock.cell_origin_mm(stock.cells)
    right += stock.label_width_mm
    bottom += stock.label_height_mm
    # Allow a hundredth of a millimetre for rounded measures of a sheet.
    if right > stock.page_width_mm + 0.01 or bottom > stock.page_height_mm + 0.01:
        raise Invalid(
            sentence(
                "{where}: the grid ends at {right} x {bottom} mm, outside the page of "
                "{page_width_mm} x {page_height_mm} mm.",
                where=where,
                right=figure(right, "g"),
                bottom=figure(bottom, "g"),
                page_width_mm=figure(stock.page_width_mm, "g"),
                page_height_mm=figure(stock.page_height_mm, "g"),
            )
        )
