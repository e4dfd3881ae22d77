"""Which jobs of the queue a reader asked for, and in which order: all of it in the address."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

#: A row of the bench queue, as ``bench_rows`` makes it.
Row = dict[str, Any]

#: What can be sorted by: the queue's own order first.
SORTS: Mapping[str, Callable[[Row], Any]] = {
    "order": lambda row: row["position"],
    "job": lambda row: (row["work"], row["tool_spec"]),
    "for": lambda row: (row["machine"], row["station"]),
    "needed": lambda row: row["needed_by"],
    "holder": lambda row: row["holder"] or "",
    "minutes": lambda row: row["minutes"],
}
_SEARCHED = (
    "tool_spec",
    "assembly",
    "holder",
    "lot",
    "cutting_item",
    "machine",
    "station",
)


def state_of(row: Row, present: datetime) -> str:
    """How a job stands: late, now (begin at once) or in_time."""
    if row["late"]:
        return "late"
    return "now" if row["start_by"] is not None and row["start_by"] <= present else "in_time"


@dataclass(frozen=True, slots=True)
class Asked:
    """What the table of jobs is to show.

    Attributes:
        q: Words that a job has to have: spec, code, holder, lot, machine, station.
        machine: Only jobs for it.
        work: Only build or measure.
        state: Only such jobs, see ``state_of``.
        sort: Of ``SORTS``; anything else is the queue's own order.
        down: Largest or latest first.
    """

    q: str = ""
    machine: str = ""
    work: str = ""
    state: str = ""
    sort: str = "order"
    down: str = ""

    @classmethod
    def of(cls, values: Mapping[str, str]) -> Asked:
        """What an address asks for."""
        given = {one.name: values.get(one.name, "").strip()[:80] for one in fields(cls)}
        sort = given.pop("sort")
        return cls(**given, sort=sort if sort in SORTS else "order")

    @property
    def filters(self) -> bool:
        """Whether jobs may be left out."""
        return bool(self.q or self.machine or self.work or self.state)

    def rows(self, rows: Sequence[Row], present: datetime) -> list[Row]:
        """The rows asked for, in the order asked for; like ones in the queue's order."""
        words = self.q.casefold().split()
        found = [
            row
            for row in rows
            if self.machine in ("", row["machine"])
            and self.work in ("", row["work"])
            and self.state in ("", state_of(row, present))
            and all(word in _text(row) for word in words)
        ]
        return sorted(found, key=SORTS[self.sort], reverse=bool(self.down))

    def sorted_by(self, sort: str) -> str:
        """The address that sorts by a column; the other way round where it does already."""
        down = "1" if sort == self.sort and not self.down else ""
        return _address(replace(self, sort=sort, down=down))

    def direction(self, sort: str) -> str:
        """The order of a column for its head's ``aria-sort``."""
        if sort != self.sort:
            return "none"
        return "descending" if self.down else "ascending"


def _text(row: Row) -> str:
    return " ".join(str(row[name] or "") for name in _SEARCHED).casefold()


def _address(asked: Asked) -> str:
    plain = Asked()
    pairs = [
        (one.name, value)
        for one in fields(asked)
        if (value := getattr(asked, one.name)) != getattr(plain, one.name)
    ]
    return f"/bench?{urlencode(pairs)}#queue" if pairs else "/bench#queue"
