"""QR capacities and sizes against the standard's printed table (fixtures/published/qr.json)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from labels.boxes import SymbolBox
from labels.code_symbol import alphanumeric_capacity, choose_version, make_symbol

DATA = json.loads(
    (Path(__file__).parents[2] / "fixtures" / "published" / "qr.json").read_text("utf-8")
)


@pytest.mark.parametrize("row", DATA["rows"], ids=lambda row: row["id"])
def test_capacity_is_the_printed_one(row: dict[str, Any]) -> None:
    assert alphanumeric_capacity(row["version"], row["level"]) == row["alphanumeric"]


@pytest.mark.parametrize(
    "row", [row for row in DATA["rows"] if row["level"] == "M"], ids=lambda row: row["id"]
)
def test_a_full_symbol_keeps_its_version_and_one_more_character_takes_the_next(
    row: dict[str, Any],
) -> None:
    full = make_symbol("A" * row["alphanumeric"])

    assert (full.version, full.level) == (row["version"], "M")
    assert full.modules == row["modules"]
    assert full.side_modules == row["with_quiet_zone"]
    assert choose_version("A" * (row["alphanumeric"] + 1))[0] == row["version"] + 1


@pytest.mark.parametrize(
    "row", [row for row in DATA["rows"] if row["level"] == "Q"], ids=lambda row: row["id"]
)
def test_level_q_is_taken_while_it_costs_no_larger_version(row: dict[str, Any]) -> None:
    at_q = row["alphanumeric"]
    smaller_m = alphanumeric_capacity(row["version"] - 1, "M") if row["version"] > 1 else 0

    if at_q > smaller_m:
        assert choose_version("A" * at_q) == (row["version"], "Q")
    assert choose_version("A" * (at_q + 1))[1] == "M" or at_q < smaller_m


@pytest.mark.parametrize("row", DATA["printed_size"], ids=lambda row: row["id"])
def test_printed_size_follows_from_the_module(row: dict[str, Any]) -> None:
    symbol = make_symbol("A" * 38)
    # Four dots of 0.1 mm a module.
    box = SymbolBox(0.0, 0.0, symbol, dots=4, dpi=254)

    assert symbol.version == row["version"]
    assert box.module_mm == pytest.approx(row["module_mm"], abs=row["tolerance"])
    assert symbol.modules * box.module_mm == pytest.approx(
        row["symbol_mm"], abs=row["tolerance"]
    )
    assert box.side_mm == pytest.approx(row["with_quiet_mm"], abs=row["tolerance"])
