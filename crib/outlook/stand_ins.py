"""Stand-ins for records that something names and that are not there.

A tool whose build, spec or item is not on record cannot be forecast, but it sits in its
station: it stays in every list, told as what it is, and nobody mounts another on top of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, Final, NamedTuple, TypeVar

from crib.outlook.implausible import Implausible
from crib.records.values import implausible
from crib.sentence import sentence
from crib.store.bounds import BOUNDED
from crib.store.field_types import without_other_types
from crib.store.shop_records import ItemOfShop, SpecOfShop
from crib.store.shop_rows import AssemblyRow, ShopRows

_NOT_ON_RECORD: Final = sentence("not on record")

_Row = TypeVar("_Row", bound=NamedTuple)

#: Id that no row has: what a build names whose lot is not there. As a tool number it stands
#: for one that is none.
NOTHING: Final = 0


def with_stand_ins(rows: ShopRows, wrong: Implausible) -> tuple[ShopRows, dict[int, str]]:
    """The shop with a stand-in for each assembly, spec and item that is named but not there.

    What is no number where one belongs, or one that nobody can mean, is left empty: it is told
    with its record already, and no sum has to bear it.

    Args:
        rows: The shop; not changed.
        wrong: Rows of records that hold numbers nobody can mean.

    Returns:
        The shop, the same where nothing is missing; and why a tool cannot be forecast, by
        assembly id.
    """
    if wrong.specs or wrong.items or wrong.machines or wrong.stations:
        rows = replace(
            rows,
            specs=_mended("tool_specs", rows.specs, wrong.specs),
            items=_mended("cutting_items", rows.items, wrong.items),
            machines=_mended("machines", rows.machines, wrong.machines),
            stations={
                number: row if row.tool_number else row._replace(tool_number=NOTHING)
                for number, row in _mended("stations", rows.stations, wrong.stations).items()
            },
        )
    built = _missing((row.assembly_id for row in rows.stays), rows.assemblies)
    every = rows.assemblies
    if built:
        every = {**every, **{one: AssemblyRow(one, *_NO_BUILD) for one in built}}
    specs = _missing((row.tool_spec_id for row in every.values()), rows.specs)
    items = _missing((row.cutting_item_id for row in every.values()), rows.items)
    lost = {
        row.assembly_id: _why(row.code, row.assembly_id in built)
        for row in every.values()
        if row.assembly_id in built
        or row.tool_spec_id in specs
        or row.cutting_item_id in items
        or not rows.specs[row.tool_spec_id].holder_type
    }
    if not lost:
        return rows, {}
    completed = replace(
        rows,
        assemblies=every,
        specs={**rows.specs, **{one: SpecOfShop(one, *_NO_SPEC) for one in specs}},
        items={**rows.items, **{one: ItemOfShop(one, *_NO_ITEM) for one in items}},
    )
    return completed, lost


def _mended(
    table: str, rows: Mapping[int, _Row], wrong: Mapping[int, str]
) -> Mapping[int, _Row]:
    if not wrong:
        return rows
    mended = dict(rows)
    for number in wrong.keys() & rows.keys():
        row = without_other_types(rows[number])
        held = row._asdict()
        emptied: dict[str, Any] = {
            one.stored: None for one in BOUNDED[table] if implausible(one, held.get(one.stored))
        }
        mended[number] = row._replace(**emptied)
    return mended


def _missing(named: Iterable[int], there: Mapping[int, object]) -> set[int]:
    return set(named) - there.keys()


def _why(code: str, unknown: bool) -> str:
    if unknown or not code:
        return sentence(
            "How this tool was built is not on record. Look at the edge, and swap it if in "
            "doubt. Then run crib check, and restore a backup."
        )
    return sentence(
        "The tool spec, lot, item or holder type of tool {code} is not on record. Look at the "
        "edge, and swap it if in doubt. Then run crib check, and restore a backup.",
        code=code,
    )


_NO_BUILD: Final = (NOTHING, NOTHING, NOTHING, "", 0, None)
_NO_SPEC: Final = (_NOT_ON_RECORD, "", None, None, None, None, None, None, None, NOTHING)
_NO_ITEM: Final = (_NOT_ON_RECORD, *(None,) * 7, "")
