"""Item codes drawn from the counters, each number given once."""

from __future__ import annotations

from crib.codes import make_code
from crib.store.engine import Tx

_DRAW = (
    "INSERT INTO code_counters (kind, next_number) VALUES (?, 1 + ?)"
    " ON CONFLICT (kind) DO UPDATE SET next_number = next_number + ?"
    " RETURNING next_number"
)


def next_code(tx: Tx, kind: str) -> str:
    """The next code of a kind letter (A H S L G P); needs a write transaction."""
    return next_codes(tx, kind, 1)[0]


def next_codes(tx: Tx, kind: str, wanted: int) -> list[str]:
    """The next ``wanted`` codes of a kind letter, ascending; needs a write transaction."""
    if wanted < 1:
        return []
    after = int(tx.exec_driver_sql(_DRAW, (kind, wanted, wanted)).scalar_one())
    return [make_code(kind, number) for number in range(after - wanted, after)]
