"""The heartbeat of ``crib feed``: every few seconds that it lives, and what it cannot do."""

from __future__ import annotations

import asyncio
import logging
import os
import socket
from collections.abc import Callable
from pathlib import Path

from crib.clock import Clock
from crib.store.feed_beat import Beat, BeatFile

_LOG = logging.getLogger("crib.feed")


class Heart:
    """Writes the heartbeat of this process.

    It beats in the event loop that books: one that hangs beats no more.

    Args:
        database: Path of the database.
        clock: Tells the time.
        machine: The one machine that is followed; None for all.
        problem: What cannot be done now; None where all can.
    """

    def __init__(
        self,
        database: Path,
        clock: Clock,
        machine: str | None,
        problem: Callable[[], str | None],
    ) -> None:
        self._file, self._clock = BeatFile(database), clock
        self._machine, self._problem = machine, problem
        self._started_at = clock()
        self._fails = False

    async def beat(self, every_s: float) -> None:
        """Beat until cancelled; then say that the end was meant."""
        try:
            while True:
                self._write(ended=False)
                await asyncio.sleep(every_s)
        finally:
            self._write(ended=True)

    def _write(self, *, ended: bool) -> None:
        beat = Beat(
            os.getpid(),
            socket.gethostname(),
            self._started_at,
            self._clock(),
            self._machine,
            self._problem(),
            ended,
        )
        try:
            self._file.write(beat)
        except OSError as problem:
            if not self._fails:
                _LOG.warning("the heartbeat cannot be written, tried again: %s", problem)
            self._fails = True
        else:
            self._fails = False
