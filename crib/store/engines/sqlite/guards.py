"""Triggers that keep facts as they are, counts from going backwards and numbers plausible.

Each trigger is one ``CREATE TRIGGER`` whose message starts with the words that
``crib.store.constraints`` turns into a refusal. A change here needs a migration that drops the
old trigger and creates the new one; ``crib check`` and the tests compare.

To add late readings that open a new counter life, renumber the later ones first and
inserts then: an insert is compared with both neighbours in time, an update of ``life`` with
the one before it only (otherwise no order of single updates could renumber lives at all).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from crib.records.columns import Column

_BEFORE = (
    "SELECT life, count FROM count_readings"
    " WHERE machine_id = NEW.machine_id AND path = NEW.path AND at < NEW.at"
    " ORDER BY at DESC LIMIT 1"
)
_AFTER = (
    "SELECT life, count FROM count_readings"
    " WHERE machine_id = NEW.machine_id AND path = NEW.path AND at > NEW.at"
    " ORDER BY at LIMIT 1"
)
_BACKWARDS = "SELECT RAISE(ABORT, 'part count goes backwards in one life of the counter')"


def _append_only(table: str) -> dict[str, str]:
    return {
        f"{table}_no_{verb}": f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON"
        f" {table} BEGIN SELECT RAISE(ABORT, 'append only: {table}'); END"
        for verb in ("update", "delete")
    }


_COUNTS = {
    # the row itself is in the table already (AFTER), so that a repeat that ON CONFLICT
    # ignores does not fire it
    "count_readings_order_insert": (
        "CREATE TRIGGER count_readings_order_insert AFTER INSERT ON count_readings BEGIN"
        f" {_BACKWARDS} FROM ({_BEFORE}) WHERE life > NEW.life"
        " OR (life = NEW.life AND count > NEW.count);"
        f" {_BACKWARDS} FROM ({_AFTER}) WHERE life = NEW.life AND count < NEW.count; END"
    ),
    "count_readings_order_update": (
        "CREATE TRIGGER count_readings_order_update AFTER UPDATE OF life ON count_readings"
        " WHEN NEW.life <> OLD.life"
        f" BEGIN {_BACKWARDS} FROM ({_BEFORE}) WHERE life = NEW.life"
        " AND count > NEW.count; END"
    ),
    "count_readings_no_update": (
        "CREATE TRIGGER count_readings_no_update BEFORE UPDATE OF machine_id, path, at,"
        " count, run_id, batch_id, source_id ON count_readings BEGIN"
        " SELECT RAISE(ABORT, 'append only: count_readings'); END"
    ),
    "count_readings_no_delete": (
        "CREATE TRIGGER count_readings_no_delete BEFORE DELETE ON count_readings"
        # one that came in by a person's word goes when that word is taken back
        " WHEN NOT EXISTS (SELECT 1 FROM facts AS w JOIN facts AS f ON f.reverses_id = w.id"
        " WHERE w.id = OLD.batch_id AND w.kind <> 'count')"
        # one that a fast clock dated ahead goes where it is kept aside
        " AND NOT EXISTS (SELECT 1 FROM count_refusals AS r WHERE r.machine_id = OLD.machine_id"
        " AND r.path = OLD.path AND r.at = OLD.at AND r.reason = 'in_future')"
        " BEGIN SELECT RAISE(ABORT, 'append only: count_readings'); END"
    ),
}


def _span(column: Column) -> tuple[str, str]:
    low, high = column.minimum, column.maximum
    if low is None or high is None:
        raise ValueError(f"{column.name} has no bounds on both sides")
    if column.kind == "number":
        return repr(float(low)), repr(float(high))
    return str(round(low * column.scale)), str(round(high * column.scale))


def outside(column: Column, of: str = "NEW.") -> str:
    """Condition: a column of a row holds what lies outside its bounds."""
    low, high = _span(column)
    name = f"{of}{column.stored}"
    zero = f"{name} = 0 OR " if column.zero else ""
    kinds = "('integer', 'real')" if column.kind == "number" else "('integer')"
    return (
        f"{name} IS NOT NULL AND NOT (typeof({name}) IN {kinds}"
        f" AND ({zero}{name} BETWEEN {low} AND {high}))"
    )


def _bounds(table: str, columns: tuple[Column, ...]) -> dict[str, str]:
    told = {one: f"RAISE(ABORT, 'implausible number: {table}.{one.stored}')" for one in columns}
    new = " ".join(f"WHEN {outside(one)} THEN {refusal}" for one, refusal in told.items())
    changed = " ".join(
        f"WHEN NEW.{one.stored} IS NOT OLD.{one.stored} AND {outside(one)} THEN {refusal}"
        for one, refusal in told.items()
    )
    names = ", ".join(one.stored for one in columns)
    return {
        f"{table}_bounds_insert": f"CREATE TRIGGER {table}_bounds_insert BEFORE INSERT ON"
        f" {table} BEGIN SELECT CASE {new} END; END",
        f"{table}_bounds_update": f"CREATE TRIGGER {table}_bounds_update BEFORE UPDATE OF"
        f" {names} ON {table} BEGIN SELECT CASE {changed} END; END",
    }


def statements(
    append_only: Iterable[str], bounded: Mapping[str, tuple[Column, ...]]
) -> dict[str, str]:
    """Every trigger that the migrations make: its name, and the statement that creates it.

    Args:
        append_only: Tables whose rows are never changed or deleted.
        bounded: Columns whose numbers have bounds, by table.
    """
    refusals = [_append_only(table) for table in append_only]
    bounds = [_bounds(table, columns) for table, columns in bounded.items()]
    return {name: text for some in (*refusals, _COUNTS, *bounds) for name, text in some.items()}
