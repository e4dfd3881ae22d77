"""Rows are filled column by column: each column has to bear the name of the field it fills."""

from __future__ import annotations

import ast
import re
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Select, TextClause, create_engine, text

from crib.store import (
    assemblies,
    cutting_rows,
    fact_lists,
    first_offs,
    kept_rows,
    label_prints,
    ledger_rows,
    mounts,
    presets,
    rack_rows,
    scans,
    shop_records,
    spec_stations,
    stations,
    stockrows,
    wear_rows,
)
from crib.store.engine import Store
from crib.store.named_rows import rows_by_name
from crib.views import queries
from crib.views.queries import FactKind

ROOT = Path(__file__).resolve().parents[2]

#: Row class -> statements whose columns fill it.
FILLED: dict[type[Any], tuple[Any, ...]] = {
    assemblies.AssemblyRow: (
        assemblies._BY_ID, assemblies._OF_HOLDER, assemblies._IN_STATION,
    ),
    assemblies.LabelRow: (assemblies._CURRENT_LABEL, assemblies._ALL_LABELS),
    cutting_rows.ItemRow: (cutting_rows._ITEM,),
    first_offs.FirstOffRow: (first_offs._OF_STATION, first_offs._OF_SHOP),
    label_prints.PrintRow: (label_prints._OF_LABEL,),
    ledger_rows.MoveRow: (ledger_rows._MOVED,),
    mounts.CorrectionRow: (mounts._CORRECTIONS,),
    mounts.MountRow: (mounts.STAYS,),
    presets.CheckResultRow: (presets._CHECKS,),
    presets.CheckRow: (presets._LAST_CHECK,),
    presets.GaugeRow: (presets._GAUGE,),
    presets.PresetRow: (presets.PRESET_ROWS,),
    rack_rows.PlaceRow: (rack_rows._PLACE_OF,),
    rack_rows.WaitingRow: (rack_rows._WAITING,),
    scans.AssemblyScan: (scans._ASSEMBLY,),
    spec_stations.SpecStation: (spec_stations._STATIONS,),
    stations.ExpectedRow: (stations._EXPECTED,),
    stations.RunRow: (stations._RUNS,),
    stations.StationRow: (stations._BY_ID, stations._OF_MACHINE),
    stockrows.HolderRow: (stockrows._HOLDER,),
    stockrows.LotRow: (stockrows._LOT,),
    stockrows.SpecRow: (stockrows._SPEC,),
    wear_rows.SpecLimits: (wear_rows._SPECS,),
    wear_rows.StationLimits: (wear_rows._STATIONS,),
}  # fmt: skip
#: Rows that their module fills from part of a statement; tests of their own hold them.
IN_PARTS = {"Ahead", "GapRow", "NowRow", "Sighting", "KeptForecast"}
#: Rows that are filled from the driver itself, for the speed of a scan.
BY_POSITION = {"AssemblyScan"}

KINDS = [kind for kind in vars(queries).values() if isinstance(kind, FactKind)]


def _columns(store: Store, statement: Any) -> list[str]:
    if isinstance(statement, Select):
        return [column.key for column in statement.selected_columns]
    with store.read() as tx:
        if isinstance(statement, TextClause):
            return list(tx.execute(statement, dict.fromkeys(statement._bindparams, 0)).keys())
        values: Any = (0,) if "?" in statement else {"as_of": 0}
        return list(tx.exec_driver_sql(statement, values).keys())


def _field_names(row: type[Any]) -> list[str]:
    return [one.name for one in fields(row)] if is_dataclass(row) else list(row._fields)


def _as_field(column: str, field: str) -> str:
    """The field's name where a column bears it, but for the table's own name of its key."""
    return field if column == "fact_id" and field == "id" else column


@pytest.mark.parametrize("row", FILLED, ids=lambda row: f"{row.__module__}.{row.__name__}")
def test_each_column_bears_the_name_of_the_field_it_fills(store: Store, row: type[Any]) -> None:
    wanted = _field_names(row)
    for statement in FILLED[row]:
        found = _columns(store, statement)
        assert [_as_field(*pair) for pair in zip(found, wanted, strict=True)] == wanted


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_each_column_of_a_list_bears_the_name_of_its_member(kind: FactKind[Any]) -> None:
    found = [column.key for column in fact_lists._STATEMENTS[kind.name].selected_columns]

    assert found == _field_names(kind.row)


def test_every_list_is_held() -> None:
    assert {kind.name for kind in KINDS} == set(fact_lists._STATEMENTS)


def test_kept_forecasts_are_filled_in_the_order_of_their_table() -> None:
    row = kept_rows.KeptForecast._fields
    left = row.index("left")
    columns = [name.removeprefix("left_") for name in kept_rows._COLUMNS]

    assert columns[left : left + 7] == ["p05", "p10", "p25", "p50", "p75", "p90", "p95"]
    named = [*kept_rows._COLUMNS[:left], "left", *kept_rows._COLUMNS[left + 7 :]]
    instants = {name.removesuffix("_us"): name for name in row if name.endswith("_us")}
    assert [instants.get(name.removesuffix("_at"), name) for name in named] == list(row)


def _filled_by_position(path: Path) -> set[str]:
    """Names of classes that are called with ``*row``, or made by ``_make``."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if not isinstance(node, ast.Call):
            continue
        made = node.func
        if isinstance(made, ast.Attribute) and made.attr == "_make":
            found.add(ast.unparse(made.value))
        elif (
            isinstance(made, ast.Name)
            and made.id[:1].isupper()
            and any(re.match(r"\*(row\b|tx\.execute)", ast.unparse(one)) for one in node.args)
        ):
            found.add(made.id)
    return found


def test_a_row_is_not_filled_by_columns_of_other_names() -> None:
    swapped = text("SELECT 1 AS calendar_id, 2 AS id, 'UTC' AS time_zone")
    wrong = pytest.raises(TypeError, match="columns calendar_id, id, time_zone do not fill")
    with create_engine("sqlite://").connect() as connection, wrong:
        rows_by_name(shop_records.CalendarOfShop, connection.execute(swapped))


def test_no_row_is_filled_by_position_unseen() -> None:
    found = {
        name
        for path in sorted((ROOT / "crib" / "store").glob("*.py"))
        if path.stem != "named_rows"
        for name in _filled_by_position(path)
    }

    assert found == IN_PARTS | BY_POSITION
