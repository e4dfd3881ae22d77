"""Proof by digests: which row says something else than was recorded, which is gone or new."""

# ruff: noqa: S608 - every query here is made of our own names alone

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

from crib.clock import instant_from_us
from crib.records.catalogue import CATALOGUE
from crib.store.digest_plans import (
    Plan,
    all_digests,
    chain_of,
    key_text,
    make_plans,
)
from crib.store.digests import known_subjects, last_digests
from crib.store.engines.chosen import CONNECTING
from crib.store.engines.interface import Driver

#: At most so many rows of one table are named.
_EXAMPLES = 5

_CHANGED = "{} is not what was recorded: its digest does not fit."
_GONE = "{} is gone, but its digest is there."
_STRANGE = "{} has no digest: the service did not record it."

# what a column of a row names -> the query that gives its name
_STATION = (
    "SELECT m.machine || '/' || s.station FROM stations AS s"
    " JOIN machines AS m ON m.id = s.machine_id WHERE s.id = "
)
_TOOL = (
    "SELECT code FROM label_codes WHERE assembly_id = {}"
    " ORDER BY superseded_at IS NULL DESC, code LIMIT 1"
)
_NAMES = {
    "machine_id": ("machine", "SELECT machine FROM machines WHERE id = ?"),
    "station_id": ("station", f"{_STATION}?"),
    "assembly_id": ("tool", _TOOL.format("?")),
    "mount_id": (
        "station",
        f"{_STATION}(SELECT station_id FROM mounts WHERE fact_id = ?)",
    ),
    "preset_id": (
        "tool",
        _TOOL.format("(SELECT assembly_id FROM presets WHERE fact_id = ?)"),
    ),
    "batch_id": (
        "machine",
        "SELECT machine FROM machines WHERE id IN"
        " (SELECT machine_id FROM count_batches WHERE fact_id = ?)",
    ),
    "holder_id": ("holder", "SELECT holder FROM holders WHERE id = ?"),
    "lot_id": ("lot", "SELECT lot FROM lots WHERE id = ?"),
    "gauge_id": ("gauge", "SELECT gauge FROM gauges WHERE id = ?"),
    "part_id": ("part", "SELECT part FROM parts WHERE id = ?"),
    "tool_spec_id": ("tool spec", "SELECT tool_spec FROM tool_specs WHERE id = ?"),
}


def digest_findings(driver: Driver) -> Iterator[str]:
    """What does not fit its digest, a sentence each; nothing where there are no digests yet."""
    plans = make_plans(driver)
    if not plans:
        return
    yield from _few(_broken_links(driver, plans), "links of the chain")
    for plan in plans.values():
        yield from _few(table_findings(driver, plan), f"rows of {plan.table}")
    for subject in sorted(known_subjects(driver) - set(plans)):
        if any(digest for _, digest in dict(last_digests(driver, _gone(subject))).items()):
            yield f"There are digests of {subject}, but no such table."


def _gone(subject: str) -> Plan:
    return Plan(subject, (), (), (), chained=True)


def _few(sentences: Iterator[str], what: str) -> Iterator[str]:
    more = 0
    for number, sentence in enumerate(sentences):
        if number < _EXAMPLES:
            yield sentence
        else:
            more += 1
    if more:
        yield f"… and {more} more {what}."


def _broken_links(driver: Driver, plans: dict[str, Plan]) -> Iterator[str]:
    before = b""
    links = driver.execute("SELECT id, subject, key, digest, chained FROM digest_chain")
    for number, subject, key, digest, chained in links:
        try:
            fits = chain_of(before, subject, key, digest) == chained
        except (AttributeError, TypeError):  # a value of another kind than was written
            fits = False
        if not fits:
            named = _named(driver, plans[subject], key) if subject in plans else repr(subject)
            yield f"The chain of digests breaks at link {number}: {named}."
        before = chained if isinstance(chained, bytes) else b""


def table_findings(driver: Driver, plan: Plan) -> Iterator[str]:
    """Rows of one table that do not fit their digest."""
    recorded: dict[Any, bytes] = {}
    for key, digest in last_digests(driver, plan):
        recorded[key] = digest
    for key, digest in all_digests(driver, plan):
        text = key_text(key)
        was = recorded.pop(text, b"")
        if was != digest:
            yield (_CHANGED if was else _STRANGE).format(_named(driver, plan, text))
    for text, was in recorded.items():
        if was:
            yield _GONE.format(_named(driver, plan, text))


def _named(driver: Driver, plan: Plan, key: str) -> str:
    """What a row is to a person: its fact, its table, the machine or tool that it names."""
    described = ""
    # rubbish names nothing; the table and the key are said anyway
    with suppress(CONNECTING.FAULT, TypeError, ValueError, OverflowError):
        described = ", ".join(_particulars(driver, plan, key))
    row = f"Row {key} of {plan.table}" + (f" ({described})" if described else "")
    return row.encode("utf-8", "backslashreplace").decode("utf-8")


def _particulars(driver: Driver, plan: Plan, key: str) -> Iterator[str]:
    if plan.table == "facts" or plan.key[0] in ("fact_id", "batch_id", "preset_id"):
        yield from _fact(driver, key)
    record = next((record for record in CATALOGUE if record.name == plan.table), None)
    where = " AND ".join(f'"{name}" = ?' for name in plan.key)
    values = (key,) if len(plan.key) == 1 else json.loads(key)
    cursor = driver.execute(f'SELECT * FROM "{plan.table}" WHERE {where} LIMIT 1', values)
    found = cursor.fetchone()
    if found is None:
        return
    row = dict(zip((column[0] for column in cursor.description), found, strict=True))
    if record is not None:
        yield from (str(row[name]) for name in record.key if row.get(name) is not None)
    for column, (kind, query) in _NAMES.items():
        if row.get(column) is not None:
            for (name,) in driver.execute(query, (row[column],)):
                yield f"{kind} {name}"


def _fact(driver: Driver, key: str) -> Iterator[str]:
    for kind, at in driver.execute("SELECT kind, at FROM facts WHERE id = ?", (key,)):
        moment = instant_from_us(at).strftime("%Y-%m-%d %H:%M")
        yield f"fact {key}, {str(kind).replace('_', ' ')} of {moment} UTC"
