"""Answers kept by their idempotency key, in the transaction of the act that they answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam, delete, insert, select

from crib.store.engine import Tx
from crib.store.tables import idempotency_keys

#: How long an answer is kept: a scanner out of reach for a long weekend still gets its own.
KEPT_FOR = timedelta(days=14)

_READ = select(
    idempotency_keys.c.route,
    idempotency_keys.c.body_hash,
    idempotency_keys.c.status,
    idempotency_keys.c.body,
    idempotency_keys.c.headers,
).where(idempotency_keys.c.key == bindparam("key"))
_KEEP = insert(idempotency_keys)
_FORGET = delete(idempotency_keys).where(idempotency_keys.c.recorded_at < bindparam("until"))


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """What was answered to the first request that carried a key."""

    route: str
    body_hash: str
    status: int
    body: bytes
    headers: dict[str, str]


def kept_answer(tx: Tx, key: str) -> KeptAnswer | None:
    """The answer kept under ``key``, if any."""
    row = tx.execute(_READ, {"key": key}).first()
    if row is None:
        return None
    return KeptAnswer(row.route, row.body_hash, row.status, row.body, dict(row.headers))


def keep_answer(tx: Tx, key: str, answer: KeptAnswer, present: datetime) -> None:
    """Keep an answer; forget those that are older than :data:`KEPT_FOR`."""
    tx.execute(_FORGET, {"until": present - KEPT_FOR})
    tx.execute(
        _KEEP,
        {
            "key": key,
            "route": answer.route,
            "body_hash": answer.body_hash,
            "status": answer.status,
            "body": answer.body,
            "headers": answer.headers,
            "recorded_at": present,
        },
    )
