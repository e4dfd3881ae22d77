"""What people look for by a part of its name, code or mark: the best matches of each kind."""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass

from crib.store.engine import Tx
from crib.store.name_rows import NameRow, name_rows

#: How many of a kind are listed.
MOST = 8


@dataclass(frozen=True, slots=True)
class Hits:
    """What fits of one kind.

    Attributes:
        kind: machine, station, tool, tool_spec, holder, lot, part, gauge or person.
        rows: The best of them, best first.
        total: How many fit.
    """

    kind: str
    rows: tuple[NameRow, ...]
    total: int


def find_names(tx: Tx, text: str, most: int = MOST) -> list[Hits]:
    """Everything in use that fits a text, by kind; kinds of which nothing fits are left out.

    Each word of the text must be in the name, the code, the place or what else the thing
    is known by, in any case. A whole name or code comes first, then what begins so.

    Args:
        tx: An open transaction.
        text: As somebody typed it.
        most: How many of a kind are listed.
    """
    words = text.casefold().split()
    if not words:
        return []
    found = []
    for kind, rows in name_rows(tx).items():
        fits = [(rank, row) for row in rows if (rank := _rank(row, words)) is not None]
        if fits:
            best = heapq.nsmallest(most, fits, key=lambda one: one[0])
            found.append(Hits(kind, tuple(row for _, row in best), len(fits)))
    return found


def _rank(row: NameRow, words: list[str]) -> int | None:
    """How well a row fits, 0 best; None where a word stands nowhere in it."""
    texts = [one.casefold() for one in row if one]
    if not all(any(word in one for one in texts) for word in words):
        return None
    whole = " ".join(words)
    names = [one.casefold() for one in (row.name, row.code) if one]
    if whole in names:
        return 0
    if any(one.startswith(whole) for one in names):
        return 1
    return 2 if _begins(names, words[0]) else 3


def _begins(names: Iterable[str], word: str) -> bool:
    return any(
        piece.startswith(word) for one in names for piece in one.replace("-", " ").split()
    )
