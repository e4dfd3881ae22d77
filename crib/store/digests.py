"""Every write leaves digests of what it changed, in its own transaction.

Each writing connection notes which rows of which table were touched;
before the commit their digests are written. Who writes past this service leaves no digest,
and ``crib check`` tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from crib.store.digest_plans import (
    SPANS,
    Key,
    Plan,
    all_digests,
    chain_of,
    digests_of,
    digests_within,
    key_text,
    make_plans,
)
from crib.store.engines.chosen import WATCHING
from crib.store.engines.interface import Cursor, Driver
from crib.store.revisions import BY_COLUMN, Touched

_HEAD = "SELECT chained FROM digest_chain ORDER BY id DESC LIMIT 1"
_LINK = "INSERT INTO digest_chain (subject, key, digest, chained) VALUES (?, ?, ?, ?)"
_KEEP = (
    "INSERT INTO row_digests (subject, key, digest) VALUES (?, ?, ?)"
    " ON CONFLICT (subject, key) DO UPDATE SET digest = excluded.digest"
)
_DROP = "DELETE FROM row_digests WHERE subject = ? AND key = ?"


class Digests:
    """The digests that one connection writes.

    Args:
        driver: The connection; what it changes is watched.
    """

    def __init__(self, driver: Driver) -> None:
        self._driver, self._watch = driver, WATCHING.watch(driver)
        self._plans: dict[str, Plan] = {}
        self._armed: int | None = None
        self._arming: int | None = None
        self._touched: dict[str, dict[Any, Any]] = {}
        self._machines: set[int | None] = set()
        self._written = False

    def begin(self) -> None:
        """Watch what the transaction that just began will change."""
        from crib.store.tables import APPEND_ONLY

        self._forget()
        self._arming = self._watch.shape()
        if self._arming == self._armed:
            return
        self.disarm()
        self._plans = make_plans(self._driver)
        self._watch.call("crib_of_machine", self._machines.add, 1)
        refused = self._watch.refused(APPEND_ONLY)
        for plan in self._plans.values():
            self._note(plan, refused)

    def disarm(self) -> None:
        """Watch no more: tables are about to change their shape."""
        self._watch.stop()
        self._armed = None

    def _note(self, plan: Plan, refused: set[tuple[str, str]]) -> None:
        keys: dict[Any, Any] = {}
        self._touched[plan.table] = keys
        told = (*plan.key, *SPANS.get(plan.table, ()))
        touch: Any = keys.setdefault if len(told) == 1 else lambda *key: keys.setdefault(key)
        if plan.table in SPANS:
            touch = partial(_widen, keys)
        self._watch.call(name := f"crib_touch_{plan.table}", touch, len(told))
        calls: list[tuple[str, Sequence[str]]] = [(name, told)]
        if plan.table in BY_COLUMN:
            calls.append(("crib_of_machine", ("machine_id",)))
        self._watch.table(plan.table, plan.columns, calls, refused)

    def touched(self) -> Touched | None:
        """What the transaction changed so far; None where that is not known any more."""
        if self._written or not self._plans:
            return None
        keys = {table: keys.keys() for table, keys in self._touched.items() if keys}
        return Touched(keys, frozenset(self._machines))

    def write(self) -> None:
        """Write the digests of what was touched; to be called just before the commit."""
        self._written = True
        new_facts = set(self._touched.get("facts", ()))
        for table, keys in self._touched.items():
            if not keys:
                continue
            plan = self._plans[table]
            some = [(key,) for key in keys] if len(plan.key) == 1 else list(keys)
            if table in SPANS:  # what was touched of a new group is all there is of it
                spans: dict[Any, tuple[Any, ...]] = {
                    key: span if key in new_facts else (*span[:-2], -(2**63), 2**63 - 1)
                    for key, span in keys.items()
                }
                found = dict(digests_within(self._driver, plan, spans))
            else:
                found = dict(digests_of(self._driver, plan, some))
            keys.clear()
            _store(self._driver, plan, [(key, found.get(key, b"")) for key in some])

    def end(self, *, kept: bool) -> None:
        """The transaction is over; where it is kept, it is watched on."""
        self._forget()
        if kept:
            self._armed = self._arming

    def _forget(self) -> None:
        self._machines.clear()
        self._written = False
        for keys in self._touched.values():
            keys.clear()


def _widen(spans: dict[int, tuple[int, ...]], key: int, *row: int) -> None:
    """Note a row of a group by where it lies: what all of the group share, then its place."""
    span, at = spans.get(key), row[-1]
    if span is None:
        spans[key] = (*row, at)
    elif at > span[-1]:
        spans[key] = (*span[:-1], at)
    elif at < span[-2]:
        spans[key] = (*span[:-2], at, span[-1])


def write_all(driver: Driver) -> None:
    """Write the digests of all rows whose digest does not fit: after a change of shape."""
    plans = make_plans(driver)
    if not plans:
        return
    for subject in known_subjects(driver) - set(plans):
        gone = Plan(subject, (), (), (), chained=True)
        _store(driver, gone, [((key,), b"") for key, was in last_digests(driver, gone) if was])
        driver.execute("DELETE FROM row_digests WHERE subject = ?", (subject,))
    for plan in plans.values():
        before = dict(last_digests(driver, plan))
        changed = []
        for key, digest in all_digests(driver, plan):
            if before.pop(key_text(key), None) != digest:
                changed.append((key, digest))
        changed += [((key,), b"") for key, was in before.items() if was]
        _store(driver, plan, changed)


def known_subjects(driver: Driver) -> set[str]:
    """The tables of which there are digests."""
    return {
        str(name)
        for (name,) in driver.execute(
            "SELECT subject FROM digest_chain UNION SELECT subject FROM row_digests"
        )
    }


def last_digests(driver: Driver, plan: Plan) -> Cursor:
    """Key and digest of everything that a table had; of one key the last one comes last."""
    table, order = ("digest_chain", "id") if plan.chained else ("row_digests", "key")
    return driver.execute(
        f"SELECT key, digest FROM {table} WHERE subject = ? ORDER BY {order}",  # noqa: S608
        (plan.table,),
    )


def _store(driver: Driver, plan: Plan, changed: list[tuple[Key, bytes]]) -> None:
    if not plan.chained:
        kept = [(plan.table, key_text(key), digest) for key, digest in changed]
        driver.executemany(_KEEP, [row for row in kept if row[2]])
        driver.executemany(_DROP, [row[:2] for row in kept if not row[2]])
        return
    row = driver.execute(_HEAD).fetchone()
    before = b"" if row is None else row[0]
    links = []
    for key, digest in changed:
        text = key_text(key)
        before = chain_of(before, plan.table, text, digest)
        links.append((plan.table, text, digest, before))
    driver.executemany(_LINK, links)
