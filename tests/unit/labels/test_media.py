"""Label stocks: the built-in ones are sound, a shop's own are checked with plain words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from crib.errors import Invalid, NotKnown
from labels.media import load_stocks, stock_named

ROLL = {
    "stock": "own-60x30",
    "kind": "roll",
    "label_width_mm": 60,
    "label_height_mm": 30,
    "margin_mm": 2,
    "dpi": 203,
}
SHEET = {
    "stock": "own-sheet",
    "kind": "sheet",
    "page_width_mm": 210,
    "page_height_mm": 297,
    "columns": 3,
    "rows": 8,
    "label_width_mm": 64,
    "label_height_mm": 34,
    "left_mm": 7,
    "top_mm": 13,
    "column_gap_mm": 2.5,
    "row_gap_mm": 0,
    "margin_mm": 2,
    "dpi": 300,
}


def write(folder: Path, *stocks: object) -> Path:
    path = folder / "own.json"
    path.write_text(json.dumps({"stocks": list(stocks)}), "utf-8")
    return path


def test_rolls_start_at_50_by_25_and_sheets_are_there_in_both_papers() -> None:
    stocks = load_stocks()

    sizes = {(s.label_width_mm, s.label_height_mm) for s in stocks.values() if s.kind == "roll"}
    pages = {(s.page_width_mm, s.page_height_mm) for s in stocks.values() if s.kind == "sheet"}
    assert (50.0, 25.0) in sizes
    assert pages == {(210.0, 297.0), (215.9, 279.4)}
    assert {s.dpi for s in stocks.values()} == {203, 300}


def test_cells_are_counted_row_by_row() -> None:
    stock = load_stocks()["a4-70x37"]

    assert stock.cells == 24
    assert stock.cell_origin_mm(1) == (0.0, 0.5)
    assert stock.cell_origin_mm(3) == (140.0, 0.5)
    assert stock.cell_origin_mm(4) == (0.0, 37.5)


def test_a_shop_adds_and_replaces_stocks(tmp_path: Path) -> None:
    replaced = {**ROLL, "stock": "roll-50x25", "label_width_mm": 51}

    stocks = load_stocks(write(tmp_path, ROLL, SHEET, replaced))

    assert stocks["own-60x30"].page_width_mm == 60.0
    assert stocks["own-sheet"].cells == 24
    assert stocks["roll-50x25"].label_width_mm == 51.0
    assert "roll-100x50" in stocks
    assert load_stocks()["roll-50x25"].label_width_mm == 50.0


def test_an_unknown_stock_names_those_there_are() -> None:
    with pytest.raises(NotKnown, match="roll-50x25"):
        stock_named("roll-1x1", load_stocks())


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"label_width_mm": 40}, "too small"),
        ({"label_height_mm": 24.9}, "too small"),
        ({"margin_mm": 7}, "leaves"),
        ({"label_width_mm": "60"}, "'label_width_mm' must be a number"),
        ({"label_width_mm": True}, "'label_width_mm' must be a number"),
        ({"label_width_mm": float("nan")}, "must lie in"),
        ({"label_width_mm": 1e9}, "must lie in"),
        ({"margin_mm": -1}, "must lie in"),
        ({"dpi": 72}, "'dpi' must be a whole number"),
        ({"dpi": 203.5}, "'dpi' must be a whole number"),
        ({"kind": "card"}, "'kind' is 'card'"),
        ({"columns": 2}, "unknown for a roll: columns"),
        ({"colour": "white"}, "unknown for a roll: colour"),
        ({"stock": ""}, "'stock' must be a name"),
        ({"stock": 5}, "'stock' must be a name"),
    ],
)
def test_a_bad_roll_is_refused_with_its_place_and_reason(
    tmp_path: Path, change: dict[str, Any], says: str
) -> None:
    with pytest.raises(Invalid) as refusal:
        load_stocks(write(tmp_path, ROLL, {**ROLL, "stock": "second", **change}))

    assert says in refusal.value.sentence
    assert "own.json, stock 2" in refusal.value.sentence


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"columns": 4}, "outside the page"),
        ({"rows": 9}, "outside the page"),
        ({"rows": 0}, "'rows' must be a whole number"),
        ({"left_mm": None}, "'left_mm' must be a number"),
    ],
)
def test_a_bad_sheet_is_refused(tmp_path: Path, change: dict[str, Any], says: str) -> None:
    with pytest.raises(Invalid, match=says):
        load_stocks(write(tmp_path, {**SHEET, **change}))


def test_a_name_given_twice_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Invalid, match="there twice"):
        load_stocks(write(tmp_path, ROLL, ROLL))


@pytest.mark.parametrize(
    "content", ["", "{", "[]", '{"stocks": {}}', '{"stocks": [3]}', "\udcff"]
)
def test_a_file_that_is_no_stock_file_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "own.json"
    path.write_bytes(content.encode("utf-8", "surrogateescape"))

    with pytest.raises(Invalid, match=r"own\.json"):
        load_stocks(path)


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Invalid, match="cannot be read"):
        load_stocks(tmp_path / "nowhere.json")
