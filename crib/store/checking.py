"""Proof that a database is whole: what is kept for speed still follows from the facts."""

# ruff: noqa: S608 - every query here is made of our own names alone

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from typing import Any

from sqlalchemy.exc import DatabaseError

from crib.codes import ALPHABET, KINDS, parse_code
from crib.errors import BadCode
from crib.floor.counter import LIMITS
from crib.floor.line import LONG_PAUSE_US
from crib.records.catalogue import CATALOGUE
from crib.store.bounds import implausible_numbers
from crib.store.cutting_rows import contradicted_operations
from crib.store.digest_checks import digest_findings
from crib.store.engine import Store, Tx, raw
from crib.store.engines.chosen import CHECKS, CONNECTING
from crib.store.engines.interface import Driver
from crib.store.migrate import HEAD, migrate

#: At most so many rows of one kind of damage are named.
_EXAMPLES = 5

_STANDS = "NOT EXISTS (SELECT 1 FROM facts AS later WHERE later.reverses_id = {})"
_OPEN_MOUNTS = f"""
    SELECT m.station_id, m.assembly_id, m.fact_id FROM mounts AS m
    WHERE {_STANDS.format("m.fact_id")} AND NOT EXISTS (
        SELECT 1 FROM removals AS r
        WHERE r.mount_id = m.fact_id AND {_STANDS.format("r.fact_id")})
"""
_SEATED = "SELECT station_id, assembly_id, mount_id FROM station_state"
_ENDED = f"""
    {{assembly}} IN (SELECT assembly_id FROM teardowns
                     WHERE {_STANDS.format("teardowns.fact_id")})
    OR {{assembly}} IN (SELECT reverses_id FROM facts WHERE kind = 'reversal')
"""
_REMOVED = f"""
    {{assembly}} IN (SELECT m.assembly_id FROM removals AS r
                     JOIN mounts AS m ON m.fact_id = r.mount_id
                     WHERE {_STANDS.format("r.fact_id")})
"""

# a drop of the count adds what came since zero, or what fits a counter that ran over
_ROLLED = ", ".join(f"{limit + 1} - count_before + count" for limit in LIMITS)
_COUNT_STEPS = f"""
    SELECT machine, at, count, total FROM (
        SELECT m.machine, c.at, c.count, c.life, c.total,
               lag(c.count) OVER w AS count_before,
               lag(c.life) OVER w AS life_before,
               lag(c.total) OVER w AS total_before,
               c.starts > 0 OR c.source_id <> lag(c.source_id) OVER w
               OR c.at - lag(c.at) OVER w > {LONG_PAUSE_US} AS may_begin
        FROM count_readings AS c JOIN machines AS m ON m.id = c.machine_id
        WINDOW w AS (PARTITION BY c.machine_id, c.path ORDER BY c.at))
    WHERE life_before IS NOT NULL AND NOT (
        (life = life_before AND count >= count_before
         AND total - total_before = count - count_before)
        OR (life = life_before + 1 AND count < count_before
            AND total - total_before IN (count, {_ROLLED}))
        OR (life = life_before + 1 AND may_begin AND total = total_before))
"""

# the sentence with places for the columns of the rows that its query finds
_FINDINGS: tuple[tuple[str, str], ...] = (
    (
        "Lot {0} has {1} on hand; its quantity and its ledger give {2}.",
        "SELECT lot, on_hand, quantity + coalesce(moved, 0) FROM lots LEFT JOIN"
        " (SELECT lot_id, sum(change) AS moved FROM stock_moves GROUP BY lot_id)"
        " ON lot_id = lots.id WHERE on_hand <> quantity + coalesce(moved, 0)",
    ),
    (
        "Mount {2} is open, but station {0} does not show assembly {1}.",
        f"{_OPEN_MOUNTS} EXCEPT {_SEATED}",
    ),
    (
        "Station {0} shows assembly {1} by mount {2}, which is over, reversed or another's.",
        f"{_SEATED} EXCEPT {_OPEN_MOUNTS}",
    ),
    (
        "Assembly {0} has no state.",
        "SELECT fact_id FROM assemblies EXCEPT SELECT assembly_id FROM assembly_state",
    ),
    (
        "Assembly {0} names holder {1} in its state and holder {2} in its build.",
        "SELECT assembly_id, s.holder_id, a.holder_id FROM assembly_state AS s"
        " JOIN assemblies AS a ON a.fact_id = s.assembly_id WHERE s.holder_id <> a.holder_id",
    ),
    (
        "Assembly {0} is mounted although it has ended.",
        "SELECT assembly_id FROM station_state JOIN assembly_state USING (assembly_id)"
        " WHERE ended_at IS NOT NULL",
    ),
    (
        "Assembly {0} was taken apart or reversed, but its holder is not free.",
        "SELECT assembly_id FROM assembly_state AS s WHERE ended_at IS NULL"
        f" AND ({_ENDED.format(assembly='s.assembly_id')})",
    ),
    (
        "Assembly {0} has ended, but no fact ended it.",
        "SELECT assembly_id FROM assembly_state AS s WHERE ended_at IS NOT NULL AND NOT"
        f" ({_ENDED.format(assembly='s.assembly_id')}"
        f" OR {_REMOVED.format(assembly='s.assembly_id')})",
    ),
    (
        "Assembly {0} stands on preset {1}, which is another's, not accepted or reversed.",
        "SELECT s.assembly_id, s.preset_id FROM assembly_state AS s"
        " JOIN presets AS p ON p.fact_id = s.preset_id"
        " WHERE p.assembly_id <> s.assembly_id OR NOT p.accepted"
        f" OR NOT {_STANDS.format('p.fact_id')}",
    ),
    (
        "Assembly {0} has no label code that holds now.",
        "SELECT assembly_id FROM assembly_state WHERE ended_at IS NULL EXCEPT"
        " SELECT assembly_id FROM label_codes WHERE superseded_at IS NULL",
    ),
    (
        "Assembly {0} stands, but no edge is marked as used by it.",
        "SELECT assembly_id FROM assembly_state WHERE ended_at IS NULL EXCEPT"
        " SELECT assembly_id FROM edge_uses",
    ),
    (
        "Machine {0}: the count {2} at {1} (microseconds since 1970), total {3}, does not "
        "follow from the reading before it.",
        _COUNT_STEPS,
    ),
)


def check(store: Store) -> list[str]:
    """What is wrong with a database, a sentence each; nothing where it is whole.

    Checks the file, its shape, the digest of every row, the references, stock against the
    ledger, stations and assemblies against the facts, running totals against the readings,
    check characters, counters, and numbers against their bounds.
    """
    try:
        with store.read() as tx:
            return findings(tx)
    except (DatabaseError, CONNECTING.FAULT, UnicodeDecodeError) as problem:
        # the engine's own words may quote what is damaged, and are no text then
        words = getattr(problem, "orig", problem)
        return [f"The file is damaged or no database of ours: {words}."]


def findings(tx: Tx) -> list[str]:
    """What ``check`` finds, seen from inside a transaction."""
    driver = raw(tx)
    tx.info["digests"].write()
    with CHECKS.any_text(driver):
        if older := _older(driver):
            return [older]
        damaged = list(_guarded("pages", CHECKS.page_findings, driver))
        damaged += _guarded("tables, indexes and triggers", _shape_findings, driver)
        found = [*damaged, *_guarded("digests", digest_findings, driver)]
        if not damaged:  # queries over a damaged file may find anything
            found += _guarded("the head of the file", CHECKS.head_findings, driver)
            found += _guarded("references", CHECKS.dangling_findings, driver)
            found += _guarded("states", _broken_states, tx)
            found += _guarded("codes", _bad_codes, tx)
            found += _guarded("bounds of numbers", implausible_numbers, tx)
            found += _guarded("operations", contradicted_operations, tx)
        return found


def _older(driver: Driver) -> str | None:
    """A sentence where the database has the shape of another version; it can't be compared."""
    try:
        numbers = [str(row[0]) for row in driver.execute("SELECT * FROM alembic_version")]
    except CONNECTING.FAULT:
        return None  # the pages tell more
    if numbers == [HEAD]:
        return None
    if len(numbers) == 1 and re.fullmatch(r"\d{4}", numbers[0]) and numbers[0] < HEAD:
        return f"The database has shape {numbers[0]}: run crib migrate, then check again."
    return f"The database says that it has shape {', '.join(numbers) or 'none'}, not {HEAD}."


def _shape_findings(driver: Driver) -> Iterator[str]:
    """Tables, indexes and triggers that are not those that the migrations make."""
    present = CHECKS.shape_of(driver)
    expected = _expected_shape()
    for (kind, name), words in expected.items():
        if present.get((kind, name)) != words:
            yield f"The {kind} {name} is missing or altered: restore a backup."
    for kind, name in present:
        if (kind, name) not in expected:
            yield f"The {kind} {name} is none of the service's."


@lru_cache(maxsize=1)
def _expected_shape() -> Mapping[tuple[str, str], str]:
    made = Store(CONNECTING.IN_MEMORY)
    migrate(made)
    with made.read() as tx:
        shape = CHECKS.shape_of(raw(tx))
    made.close()
    return shape


def _guarded(
    what: str, finder: Callable[[Any], Iterator[str]], source: object
) -> Iterator[str]:
    """The findings of one part; what stops it is a finding too."""
    try:
        yield from finder(source)
    except Exception as problem:  # whatever rubbish leads to, it is said, and the rest goes on
        words = getattr(problem, "orig", problem)
        yield f"The file is damaged: {what} cannot be read ({words})."


def _broken_states(tx: Tx) -> Iterator[str]:
    for sentence, query in _FINDINGS:
        rows = tx.exec_driver_sql(query).fetchmany(_EXAMPLES + 1)
        yield from (sentence.format(*row) for row in rows[:_EXAMPLES])
        if len(rows) > _EXAMPLES:
            yield "… and more of the same."


def _bad_codes(tx: Tx) -> Iterator[str]:
    tables = [("label_codes", "A")] + [
        (record.name, record.code_kind) for record in CATALOGUE if record.code_kind
    ]
    counters = tx.exec_driver_sql("SELECT kind, next_number FROM code_counters")
    next_numbers = {row.kind: int(row.next_number) for row in counters}
    for table, kind in tables:
        greatest = -1
        for (code,) in tx.exec_driver_sql(f"SELECT code FROM {table}"):
            try:
                right = parse_code(code).kind == kind and code == code.upper()
            except BadCode:
                right = False
            if not right:
                yield f"'{code}' in {table} is no right code of a {KINDS[kind]}."
                continue
            greatest = max(greatest, _number_of(code))
        if greatest >= next_numbers.get(kind, 0):
            yield f"The counter of {kind} codes is behind the codes that were given out."


def _number_of(code: str) -> int:
    number = 0
    for character in code[1:-1]:
        number = number * 36 + ALPHABET.index(character)
    return number
