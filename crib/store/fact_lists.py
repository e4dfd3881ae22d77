"""Facts as flat rows, by kind: filtered, up to an instant, a page at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Row, Select, Table, func, literal, select, union_all

from crib.store.assemblies import stands
from crib.store.engine import Tx
from crib.store.mounts import STAY_COLUMNS, with_removal
from crib.store.named_rows import named
from crib.store.presets import PRESET_COLUMNS, with_gauge
from crib.store.sound_rows import sound_rows
from crib.store.tables import (
    assemblies,
    assembly_state,
    breakage_answers,
    breakage_doubts,
    breakages,
    corrections,
    count_batches,
    count_refusals,
    count_verdicts,
    counts_booked_later,
    facts,
    gauge_checks,
    label_codes,
    label_prints,
    life_confirmations,
    metadata,
    mounts,
    night_choices,
    presets,
    question_dismissals,
    rack_places,
    removals,
    station_state,
    stock_moves,
    stops,
    teardowns,
)
from crib.store.verdict_rows import TOLD

_Made = TypeVar("_Made")

_T = metadata.tables
_people, _machines, _stations = _T["people"], _T["machines"], _T["stations"]
_specs, _holders, _lots, _items = (
    _T["tool_specs"],
    _T["holders"],
    _T["lots"],
    _T["cutting_items"],
)
_gauges = _T["gauges"]
_mark = (_machines.c.machine + "/" + _stations.c.station).label("station")
_reversed = (~stands(facts.c.id)).label("reversed")
_verdicts = facts.alias("verdicts")
_judges = _people.alias("judges")


def _facts_of(table: Table, *columns: ColumnElement[Any]) -> Select[Any]:
    """Id, instants and person of facts, with columns of their kind."""
    return (
        select(
            facts.c.id,
            facts.c.at,
            facts.c.recorded_at,
            _people.c.badge.label("by"),
            facts.c.note,
            _reversed,
            *columns,
        )
        .select_from(facts)
        .join(table, table.c.fact_id == facts.c.id)
        .outerjoin(_people, _people.c.id == facts.c.person_id)
    )


def _with_label(statement: Select[Any], assembly_id: ColumnElement[int]) -> Select[Any]:
    return statement.join(
        label_codes,
        (label_codes.c.assembly_id == assembly_id) & label_codes.c.superseded_at.is_(None),
    )


def _at_station(statement: Select[Any]) -> Select[Any]:
    return statement.join(_stations, _stations.c.id == mounts.c.station_id).join(
        _machines, _machines.c.id == _stations.c.machine_id
    )


_ASSEMBLIES = (
    _with_label(
        _facts_of(
            assemblies,
            label_codes.c.code,
            _specs.c.tool_spec,
            _holders.c.holder,
            _holders.c.location.label("holder_location"),
            _items.c.cutting_item,
            _lots.c.lot,
            assemblies.c.edge,
            func.coalesce(_items.c.edges, 1).label("edges"),
            assembly_state.c.cutter_status,
            assembly_state.c.preset_id,
            presets.c.void_after,
            assembly_state.c.ended_at,
            _mark,
        ),
        assemblies.c.fact_id,
    )
    .join(assembly_state, assembly_state.c.assembly_id == assemblies.c.fact_id)
    .join(_specs, _specs.c.id == assemblies.c.tool_spec_id)
    .join(_holders, _holders.c.id == assemblies.c.holder_id)
    .join(_lots, _lots.c.id == assemblies.c.lot_id)
    .join(_items, _items.c.id == _lots.c.cutting_item_id)
    .outerjoin(presets, presets.c.fact_id == assembly_state.c.preset_id)
    .outerjoin(station_state, station_state.c.assembly_id == assemblies.c.fact_id)
    .outerjoin(_stations, _stations.c.id == station_state.c.station_id)
    .outerjoin(_machines, _machines.c.id == _stations.c.machine_id)
)
_PRESETS = _with_label(
    with_gauge(_facts_of(presets, label_codes.c.code.label("assembly"), *PRESET_COLUMNS)),
    presets.c.assembly_id,
)
_MOUNTS = _with_label(
    with_removal(
        _at_station(
            _facts_of(
                mounts,
                label_codes.c.code.label("assembly"),
                _mark,
                mounts.c.preset_id,
                *STAY_COLUMNS,
            )
        )
    ),
    mounts.c.assembly_id,
)
_REMOVALS = _with_label(
    _at_station(
        _facts_of(
            removals,
            label_codes.c.code.label("assembly"),
            _mark,
            removals.c.mount_id,
            removals.c.reason,
            removals.c.part_count,
            removals.c.flank_wear_tenths_um,
        ).join(mounts, mounts.c.fact_id == removals.c.mount_id)
    ),
    mounts.c.assembly_id,
)
_CORRECTIONS = _with_label(
    _at_station(
        _facts_of(
            corrections,
            label_codes.c.code.label("assembly"),
            _mark,
            corrections.c.mount_id,
            corrections.c.axis,
            corrections.c.change_tenths_um,
            corrections.c.correction_kind.label("kind"),
        ).join(mounts, mounts.c.fact_id == corrections.c.mount_id)
    ),
    mounts.c.assembly_id,
)
_TEARDOWNS = _with_label(
    _facts_of(teardowns, label_codes.c.code.label("assembly"), teardowns.c.reason),
    teardowns.c.assembly_id,
)
_LABEL_PRINTS = _with_label(
    _facts_of(
        label_prints,
        label_codes.c.code.label("assembly"),
        label_prints.c.code.label("printed_code"),
        label_prints.c.preset_id,
        label_prints.c.stock,
        label_prints.c.reason,
        label_prints.c.queue,
    ),
    label_prints.c.assembly_id,
)
_RACK_PLACES = _with_label(
    _facts_of(
        rack_places,
        label_codes.c.code.label("assembly"),
        _machines.c.machine,
        rack_places.c.place,
    ).outerjoin(_machines, _machines.c.id == rack_places.c.machine_id),
    rack_places.c.assembly_id,
)
_STOCK_MOVES = (
    _facts_of(
        stock_moves,
        _lots.c.lot,
        _items.c.cutting_item,
        stock_moves.c.move,
        stock_moves.c.change,
        stock_moves.c.balance_after.label("on_hand"),
        facts.c.reverses_id,
    )
    .join(_lots, _lots.c.id == stock_moves.c.lot_id)
    .join(_items, _items.c.id == _lots.c.cutting_item_id)
)
_GAUGE_CHECKS = _facts_of(
    gauge_checks, _gauges.c.gauge, gauge_checks.c.valid, gauge_checks.c.result
).join(_gauges, _gauges.c.id == gauge_checks.c.gauge_id)
_STOPS = _facts_of(stops, _machines.c.machine, stops.c.ends_at, stops.c.reason).join(
    _machines, _machines.c.id == stops.c.machine_id
)
_NIGHT_CHOICES = _facts_of(
    night_choices,
    _machines.c.machine,
    night_choices.c.begins_at,
    night_choices.c.ends_at,
    night_choices.c.choice,
    night_choices.c.until,
).join(_machines, _machines.c.id == night_choices.c.machine_id)
_COUNT_BATCHES = _facts_of(
    count_batches,
    _machines.c.machine,
    count_batches.c.accepted,
    count_batches.c.duplicates,
    count_batches.c.refused,
).join(_machines, _machines.c.id == count_batches.c.machine_id)
#: What people said of counts kept aside, and what was booked because of it.
_judgements = union_all(
    select(count_verdicts.c.fact_id, count_verdicts.c.refusal_id, count_verdicts.c.verdict),
    select(
        counts_booked_later.c.fact_id,
        counts_booked_later.c.refusal_id,
        literal("booked_later").label("verdict"),
    ),
).subquery("judgements")
_REFUSED_COUNTS: Select[Any] = (
    select(
        count_refusals.c.id,
        count_refusals.c.at,
        facts.c.recorded_at,
        _people.c.badge.label("by"),
        _machines.c.machine,
        count_refusals.c.batch_id,
        count_refusals.c.reading,
        count_refusals.c.reason,
        count_refusals.c.detail.label("sentence"),
        _judgements.c.fact_id.label("verdict_id"),
        _judgements.c.verdict,
        _judges.c.badge.label("judged_by"),
    )
    .select_from(count_refusals)
    .join(facts, facts.c.id == count_refusals.c.batch_id)
    .join(_machines, _machines.c.id == count_refusals.c.machine_id)
    .outerjoin(_people, _people.c.id == facts.c.person_id)
    .outerjoin(
        _judgements,
        (_judgements.c.refusal_id == count_refusals.c.id) & stands(_judgements.c.fact_id),
    )
    .outerjoin(_verdicts, _verdicts.c.id == _judgements.c.fact_id)
    .outerjoin(_judges, _judges.c.id == _verdicts.c.person_id)
)
_COUNT_VERDICTS = (
    _facts_of(
        count_verdicts,
        _machines.c.machine,
        count_verdicts.c.refusal_id,
        count_verdicts.c.verdict,
        count_refusals.c.at.label("counted_at"),
        count_refusals.c.reading,
    )
    .join(count_refusals, count_refusals.c.id == count_verdicts.c.refusal_id)
    .join(_machines, _machines.c.id == count_refusals.c.machine_id)
)
_BREAKAGES = _with_label(
    _at_station(
        _facts_of(
            breakages,
            label_codes.c.code.label("assembly"),
            _mark,
            breakages.c.mount_id,
            breakages.c.signal,
        ).join(mounts, mounts.c.fact_id == breakages.c.mount_id)
    ),
    mounts.c.assembly_id,
)
_LIFE_CONFIRMATIONS = _with_label(
    _at_station(
        _facts_of(
            life_confirmations,
            label_codes.c.code.label("assembly"),
            _mark,
            life_confirmations.c.removal_id,
            life_confirmations.c.parts,
        )
        .join(removals, removals.c.fact_id == life_confirmations.c.removal_id)
        .join(mounts, mounts.c.fact_id == removals.c.mount_id)
    ),
    mounts.c.assembly_id,
)
_QUESTION_DISMISSALS = (
    _facts_of(
        question_dismissals,
        # of a breakage nobody knows the station
        func.coalesce(_mark.element, _machines.c.machine).label("station"),
        question_dismissals.c.path,
        question_dismissals.c.tool_number,
        question_dismissals.c.asset.label("says"),
        question_dismissals.c.since,
        question_dismissals.c.mount_id,
    )
    .outerjoin(_stations, _stations.c.id == question_dismissals.c.station_id)
    .outerjoin(breakage_answers, breakage_answers.c.fact_id == question_dismissals.c.fact_id)
    .outerjoin(breakage_doubts, breakage_doubts.c.id == breakage_answers.c.doubt_id)
    .join(
        _machines,
        _machines.c.id == func.coalesce(_stations.c.machine_id, breakage_doubts.c.machine_id),
    )
)

_STATEMENTS: Mapping[str, Select[Any]] = {
    "assemblies": _ASSEMBLIES,
    "presets": _PRESETS,
    "mounts": _MOUNTS,
    "removals": _REMOVALS,
    "corrections": _CORRECTIONS,
    "teardowns": _TEARDOWNS,
    "label_prints": _LABEL_PRINTS,
    "rack_places": _RACK_PLACES,
    "stock_moves": _STOCK_MOVES,
    "gauge_checks": _GAUGE_CHECKS,
    "stops": _STOPS,
    "count_batches": _COUNT_BATCHES,
    "refused_counts": _REFUSED_COUNTS,
    "count_verdicts": _COUNT_VERDICTS,
    "breakages": _BREAKAGES,
    "question_dismissals": _QUESTION_DISMISSALS,
    "night_choices": _NIGHT_CHOICES,
    "life_confirmations": _LIFE_CONFIRMATIONS,
}

# filter -> the column that has to equal it
_FILTERS: Mapping[str, ColumnElement[Any]] = {
    "assembly_id": label_codes.c.assembly_id,
    "tool_spec_id": assemblies.c.tool_spec_id,
    "holder_id": assemblies.c.holder_id,
    "cutter_status": assembly_state.c.cutter_status,
    "station_id": mounts.c.station_id,
    "machine_id": _machines.c.id,
    "lot_id": _lots.c.id,
    "gauge_id": _gauges.c.id,
}


# kind -> the condition of one that has not ended
_STILL_OPEN: Mapping[str, ColumnElement[bool]] = {
    "assemblies": assembly_state.c.ended_at.is_(None),
    "mounts": removals.c.fact_id.is_(None) & stands(facts.c.id),
    "refused_counts": _judgements.c.fact_id.is_(None) & (count_refusals.c.reason != TOLD),
}


def fact_rows(
    tx: Tx,
    kind: str,
    made: type[_Made],
    filters: Mapping[str, object],
    *,
    open_only: bool = False,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> tuple[dict[int, _Made], list[int]]:
    """Rows of one kind by ascending id, by id, and the ids of those that cannot be read.

    A row that names one that is not there cannot be read either; where a filter was asked for,
    nobody knows whether it would fit.

    Args:
        tx: An open transaction.
        kind: A key of the statements above.
        made: What its rows are.
        filters: Filter name -> value; the caller knows which fit the kind.
        open_only: Assemblies that are not over only, mounts that still last only, refused
            counts that nobody judged only.
        as_of: Only facts dated up to then.
        after_id: Only ids above (the last one of the page before).
        limit: How many at most.
    """
    statement = _STATEMENTS[kind]
    number = count_refusals.c.id if kind == "refused_counts" else facts.c.id
    for name, value in filters.items():
        statement = statement.where(_FILTERS[name] == value)
    if open_only:
        statement = statement.where(_STILL_OPEN[kind])
    if as_of is not None:
        statement = statement.where(facts.c.at <= as_of)
    statement = statement.where(number > after_id).order_by(number).limit(limit)

    def checked(found: Sequence[Row[Any]]) -> list[tuple[int, _Made]]:
        return [(row.id, named(made, row)) for row in found]

    rows, unreadable = sound_rows(tx, statement, number, checked)
    found = dict(rows)
    if not filters and not open_only:
        seen = found.keys() | set(unreadable)
        recorded = _recorded(tx, kind, as_of, after_id, limit)
        unreadable += [one for one in recorded if one not in seen]
    return found, unreadable


def _recorded(
    tx: Tx, kind: str, as_of: datetime | None, after_id: int, limit: int
) -> Sequence[int]:
    """Ids of a kind, whether or not what the rows name is there."""
    table = count_refusals if kind == "refused_counts" else _T[kind]
    number, fact = (
        (table.c.id, table.c.batch_id) if table is count_refusals else (table.c.fact_id,) * 2
    )
    statement = select(number).where(number > after_id).order_by(number).limit(limit)
    if as_of is not None:
        statement = statement.outerjoin(facts, facts.c.id == fact).where(
            facts.c.id.is_(None) | (facts.c.at <= as_of)
        )
    return tx.execute(statement).scalars().all()
