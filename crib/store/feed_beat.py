"""The heartbeat of the process that follows machines: a small file beside the database.

It is a file of fixed size, written over in place: so it can report that the database is locked
or the disk full.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from crib.clock import parse_instant, print_instant
from crib.sentence import as_kept, from_kept
from crib.store.engine import Tx

_SIZE = 2048
_LONGEST = 1000


@dataclass(frozen=True, slots=True)
class Beat:
    """What the process said last of itself.

    Attributes:
        pid: Its number on its host.
        host: Where it runs.
        started_at: When it began.
        beat_at: When it said this.
        machine: The one machine that it follows; None for all.
        problem: What it cannot do now, in a sentence.
        ended: Whether it was asked to end, and did.
    """

    pid: int
    host: str
    started_at: datetime
    beat_at: datetime
    machine: str | None = None
    problem: str | None = None
    ended: bool = False


class BeatFile:
    """The file beside a database.

    Args:
        database: Path of the database.
    """

    def __init__(self, database: Path) -> None:
        self._path = database.with_name(f"{database.name}-feed-beat")

    @classmethod
    def of(cls, tx: Tx) -> BeatFile | None:
        """That of an open database; None for one in memory."""
        name = tx.engine.url.database
        return None if name in (None, "", ":memory:") else cls(Path(str(name)).absolute())

    def write(self, beat: Beat) -> None:
        """Overwrite the last report.

        Raises:
            OSError: It cannot be written.
        """
        told = {
            "pid": beat.pid,
            "host": beat.host[:200],
            "started_at": print_instant(beat.started_at),
            "beat_at": print_instant(beat.beat_at),
            "machine": beat.machine,
            "problem": None if beat.problem is None else as_kept(beat.problem),
            "ended": beat.ended,
        }
        raw = json.dumps(told).encode()
        if beat.problem is not None and len(raw) > _SIZE:  # its English text alone, cut
            raw = json.dumps(told | {"problem": beat.problem[:_LONGEST]}).encode()
        raw = raw.ljust(_SIZE)
        descriptor = os.open(self._path, os.O_WRONLY | os.O_CREAT, 0o600)
        try:
            # in one piece and never shorter: nobody reads half of it, and a full disk takes it
            os.pwrite(descriptor, raw, 0)
        finally:
            os.close(descriptor)

    def read(self) -> Beat | None:
        """The last report; None where no process ever followed machines."""
        try:
            told = json.loads(self._path.read_bytes())
            return Beat(
                int(told["pid"]),
                str(told["host"]),
                parse_instant(told["started_at"]),
                parse_instant(told["beat_at"]),
                told["machine"],
                None if told["problem"] is None else from_kept(told["problem"]),
                bool(told["ended"]),
            )
        except (FileNotFoundError, ValueError, KeyError, TypeError):
            return None  # as if it were gone: the next beat makes it whole
