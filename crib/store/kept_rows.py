"""Forecasts that were shown, in and out of their table."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any, NamedTuple

from crib.store.engine import Tx
from crib.store.engines.chosen import WORDS
from crib.store.kept_tables import kept_forecasts

#: The first of its shift, and the last one before the removal.
SHIFT, LAST = "shift", "last"


class KeptForecast(NamedTuple):
    """One forecast as it was shown; instants in µs, wear in wear units.

    The columns are in the order of the table; ``id`` is 0 until it is kept.
    """

    id: int
    at_us: int
    occasion: str
    mount_id: int
    assembly_id: int
    first_of_stay: bool
    part_id: int
    life_key: str
    age: float
    wear_per_part: float
    left: tuple[float, float, float, float, float, float, float]
    shift_ends_us: int
    lasts_shift: float
    unattended_begins_us: int | None
    unattended_ends_us: int | None
    fails_unattended: float | None
    life_p10: float
    life_p50: float
    life_p90: float
    widening: float
    night_scale: float | None = None


_COLUMNS = tuple(column.name for column in kept_forecasts.columns)
_FIRST_LEFT = _COLUMNS.index("left_p05")
_SELECT = f"SELECT {', '.join('k.' + name for name in _COLUMNS)} FROM kept_forecasts AS k"  # noqa: S608 - our own names

# The table decides which is the stay's first one, not the process that shows it. Only what is
# kept already is passed over: a broken check is an error.
_INSERT = (
    f"INSERT INTO kept_forecasts ({', '.join(_COLUMNS[1:])}) VALUES ("  # noqa: S608 - our own names
    "?, ?, ?, ?, NOT EXISTS (SELECT 1 FROM kept_forecasts WHERE mount_id = ?3"
    f" AND first_of_stay), {', '.join('?' * (len(_COLUMNS) - 6))}) ON CONFLICT DO NOTHING"
)


def insert_kept(tx: Tx, rows: Sequence[KeptForecast]) -> int:
    """Keep forecasts; one that is there already for its stay and shift stays as it is.

    Args:
        tx: A write transaction.
        rows: Forecasts, in the order in which they were shown.

    Returns:
        How many were new.
    """
    if not rows:
        return 0
    before = int(tx.exec_driver_sql("SELECT total_changes()").scalar_one())
    tx.exec_driver_sql(_INSERT, [_values(row) for row in rows])
    return int(tx.exec_driver_sql("SELECT total_changes()").scalar_one()) - before


def _values(row: KeptForecast) -> tuple[object, ...]:
    plain = (*row[:10], *row.left, *row[11:])
    return (*plain[1:5], *plain[6:])


def _from_row(row: Sequence[Any]) -> KeptForecast:
    values = list(row)
    left = tuple(values[_FIRST_LEFT : _FIRST_LEFT + 7])
    values[_FIRST_LEFT : _FIRST_LEFT + 7] = [left]
    values[5] = bool(values[5])
    return KeptForecast._make(values)


def _found(tx: Tx, statement: str, values: dict[str, object]) -> Iterator[KeptForecast]:
    cursor = tx.exec_driver_sql(statement, values).cursor
    return map(_from_row, cursor.fetchall() if cursor is not None else ())


def kept_between(tx: Tx, from_us: int, to_us: int) -> list[KeptForecast]:
    """All that were shown from one instant to before another [µs], in order of time."""
    where = " WHERE k.at >= :from_us AND k.at < :to_us ORDER BY k.at, k.id"
    return list(_found(tx, _SELECT + where, {"from_us": from_us, "to_us": to_us}))


def kept_before_nights(tx: Tx, until_us: int, most: int) -> list[KeptForecast]:
    """The latest that spoke of unattended stretches which are over, by ascending id.

    Args:
        tx: An open transaction.
        until_us: Only stretches that ended up to then [µs], as shown up to then.
        most: How many at most.
    """
    where = (
        " WHERE k.at <= :until_us AND k.unattended_ends_at <= :until_us"
        " ORDER BY k.id DESC LIMIT :most"
    )
    found = list(_found(tx, _SELECT + where, {"until_us": until_us, "most": most}))
    return found[::-1]


def kept_page(
    tx: Tx,
    *,
    until_us: int,
    after_id: int,
    limit: int,
    assembly_id: int | None = None,
    machine_id: int | None = None,
) -> list[KeptForecast]:
    """Forecasts by ascending id, of one assembly or machine if asked.

    Args:
        tx: An open transaction.
        until_us: Only those shown up to then [µs].
        after_id: Only greater ids.
        limit: How many at most.
        assembly_id: Only of this assembly.
        machine_id: Only of edges in this machine.
    """
    statement = _SELECT
    if machine_id is not None:
        statement += (
            " JOIN mounts AS m ON m.fact_id = k.mount_id"
            " JOIN stations AS s ON s.id = m.station_id AND s.machine_id = :machine_id"
        )
    statement += " WHERE k.id > :after_id AND k.at <= :until_us"
    if assembly_id is not None:
        statement += " AND k.assembly_id = :assembly_id"
    values: dict[str, object] = {
        "after_id": after_id,
        "until_us": until_us,
        "assembly_id": assembly_id,
        "machine_id": machine_id,
        "limit": limit,
    }
    return list(_found(tx, f"{statement} ORDER BY k.id LIMIT :limit", values))


def first_of_stays(
    tx: Tx, life_keys: Collection[str], until_us: int, most: int, every: int = 1
) -> list[KeptForecast]:
    """The latest first forecasts of stays, at most so many of each key, by ascending id.

    Args:
        tx: An open transaction.
        life_keys: Names of the keys.
        until_us: Only those shown up to then [µs].
        most: How many of each key.
        every: Only those whose number it divides: a sample where there are very many.
    """
    statement = (
        f"{_SELECT} JOIN {WORDS.each_of(':life_keys')} AS wanted"  # noqa: S608 - our own names
        " ON k.id IN (SELECT id FROM kept_forecasts WHERE life_key = wanted.value"
        " AND first_of_stay AND at <= :until_us AND id % :every = 0"
        " ORDER BY id DESC LIMIT :most) ORDER BY k.id"
    )
    values: dict[str, object] = {
        "life_keys": WORDS.as_list(sorted(life_keys)),
        "until_us": until_us,
        "most": most,
        "every": every,
    }
    return list(_found(tx, statement, values))
