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
def test_capacity_is_the_printed_one(agrees: Any, row: dict[str, Any]) -> None:
    ours = alphanumeric_capacity(row["version"], row["level"])

    agrees(row, "alphanumeric", row["alphanumeric"], ours)


@pytest.mark.parametrize(
    "row", [row for row in DATA["rows"] if row["level"] == "M"], ids=lambda row: row["id"]
)
def test_a_full_symbol_keeps_its_version_and_one_more_character_takes_the_next(
    agrees: Any, row: dict[str, Any]
) -> None:
    full = make_symbol("A" * row["alphanumeric"])

    assert (full.version, full.level) == (row["version"], "M")
    agrees(row, "modules", row["modules"], full.modules)
    agrees(row, "with_quiet_zone", row["with_quiet_zone"], full.side_modules)
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
def test_printed_size_follows_from_the_module(agrees: Any, row: dict[str, Any]) -> None:
    symbol = make_symbol("A" * 38)
    # Four dots of 0.1 mm a module.
    box = SymbolBox(0.0, 0.0, symbol, dots=4, dpi=254)

    assert symbol.version == row["version"]
    side_mm = symbol.modules * box.module_mm
    agrees(row, "module_mm", row["module_mm"], box.module_mm, row["tolerance"])
    agrees(row, "symbol_mm", row["symbol_mm"], side_mm, row["tolerance"])
    agrees(row, "with_quiet_mm", row["with_quiet_mm"], box.side_mm, row["tolerance"])
