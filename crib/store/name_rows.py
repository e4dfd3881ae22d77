"""Rows of everything that bears a name: what a search looks through."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from sqlalchemy import Select, literal, select

from crib.store.engine import Tx
from crib.store.named_rows import named_rows
from crib.store.tables import assemblies, label_codes, metadata

_T = metadata.tables
_machines, _stations, _people, _gauges = (
    _T[one].c for one in ("machines", "stations", "people", "gauges")
)
_holders, _types, _lots = (_T[one].c for one in ("holders", "holder_types", "lots"))
_items, _specs, _parts = (_T[one].c for one in ("cutting_items", "tool_specs", "parts"))
_state = _T["assembly_state"].c
_runs = _T["runs"].c
_NOTHING = literal(None)


class NameRow(NamedTuple):
    """Something with a name.

    Attributes:
        code: Its code; None for a kind that has none.
        name: What people call it.
        more: What else it is looked for by.
        place: Where it lies; the machine of a station, or of a part's job.
    """

    code: str | None
    name: str
    more: str | None
    place: str | None


def _names(name: Any, code: Any = _NOTHING, more: Any = _NOTHING, place: Any = _NOTHING) -> Any:
    return select(
        code.label("code"), name.label("name"), more.label("more"), place.label("place")
    )


#: Statement of the names of each kind; what was retired is left out.
_STATEMENTS: Mapping[str, Select[Any]] = {
    "machine": _names(_machines.machine, more=_machines.name).where(
        _machines.retired_at.is_(None)
    ),
    "station": _names(
        _machines.machine + "/" + _stations.station, _stations.code, place=_machines.machine
    )
    .join_from(_T["stations"], _T["machines"])
    .where(_stations.retired_at.is_(None), _machines.retired_at.is_(None)),
    "tool": _names(_specs.tool_spec, label_codes.c.code, _items.cutting_item, _holders.holder)
    .select_from(_T["assembly_state"])
    .join(assemblies, assemblies.c.fact_id == _state.assembly_id)
    .join(label_codes, label_codes.c.assembly_id == _state.assembly_id)
    .join(_T["tool_specs"], _specs.id == assemblies.c.tool_spec_id)
    .join(_T["holders"], _holders.id == assemblies.c.holder_id)
    .join(_T["lots"], _lots.id == assemblies.c.lot_id)
    .join(_T["cutting_items"], _items.id == _lots.cutting_item_id)
    .where(_state.ended_at.is_(None), label_codes.c.superseded_at.is_(None)),
    "tool_spec": _names(_specs.tool_spec, more=_specs.description).where(
        _specs.retired_at.is_(None)
    ),
    "holder": _names(_holders.holder, _holders.code, _types.holder_type, _holders.location)
    .join_from(_T["holders"], _T["holder_types"])
    .where(_holders.retired_at.is_(None)),
    "lot": _names(_lots.lot, _lots.code, _items.cutting_item, _lots.location)
    .join_from(_T["lots"], _T["cutting_items"])
    .where(_lots.retired_at.is_(None)),
    "part": _names(_parts.part, more=_parts.description, place=_machines.machine)
    .select_from(_T["parts"])
    .outerjoin(
        _T["runs"],
        (_runs.part_id == _parts.id)
        & _runs.state.in_(("running", "planned"))
        & _runs.retired_at.is_(None),
    )
    .outerjoin(_T["machines"], _machines.id == _runs.machine_id)
    .where(_parts.retired_at.is_(None))
    .distinct(),
    "gauge": _names(_gauges.gauge, _gauges.code, _gauges.description).where(
        _gauges.retired_at.is_(None)
    ),
    "person": _names(_people.name, _people.code, _people.badge).where(
        _people.retired_at.is_(None)
    ),
}


def name_rows(tx: Tx) -> dict[str, list[NameRow]]:
    """Everything in use that bears a name, by kind, each kind in order of its names."""
    return {
        kind: list(named_rows(NameRow, tx.execute(statement.order_by("name"))))
        for kind, statement in _STATEMENTS.items()
    }
