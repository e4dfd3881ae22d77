"""One writer at a time, of threads and processes; waiting too long is an error."""

from __future__ import annotations

import fcntl
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from crib.errors import StoreBusy
from crib.sentence import sentence

#: The message after waiting for too long.
BUSY = sentence("The database was busy for too long. Nothing was recorded. Send it again.")

#: How often a thread looks whether it still makes sense to wait [s].
_LOOK_S = 0.05


class WriterQueue:
    """Lets one in; the others wait for it, threads of this process and other processes.

    Other processes are kept out by a lock on a file, which the kernel hands on fairly. One
    thread of a process waits for it, for all. While it waits in vain the others are soon sent
    away: they would take the last thread from those who only read.

    Args:
        path: The file; made where it is not there.
        wait_s: Longest that another process is waited for [s].
        behind_s: Longest that a thread waits behind one that waits for another process [s].
    """

    def __init__(self, path: Path, wait_s: float, behind_s: float) -> None:
        self._path, self._wait_s, self._behind_s = path, wait_s, behind_s
        self._inside = threading.Lock()
        self._waits_since: float | None = None
        self._asked: _Asked | None = None

    @contextmanager
    def turn(self, *, patient: bool = False) -> Iterator[float]:
        """The turn of one writer, to the end of the block; ``begun`` is to be called in it.

        Args:
            patient: Wait for as long as it takes.

        Yields:
            How long the writer may still wait for others to leave the database [s].

        Raises:
            StoreBusy: Another process did not let go in time.
        """
        self._come_to_the_front(patient=patient)
        try:
            since = self._waits_since = time.monotonic()
            descriptor = self._lock(None if patient else self._wait_s)
            try:
                yield max(since + self._wait_s - time.monotonic(), 0.0)
            finally:
                os.close(descriptor)
        finally:
            self._waits_since = None
            self._inside.release()

    def begun(self) -> None:
        """The one whose turn it is waits for nobody any more."""
        self._waits_since = None

    def _come_to_the_front(self, *, patient: bool) -> None:
        while not self._inside.acquire(timeout=_LOOK_S):
            since = self._waits_since
            stuck_s = 0.0 if since is None else time.monotonic() - since
            if stuck_s > self._behind_s and not patient:
                raise StoreBusy(BUSY)

    def _lock(self, wait_s: float | None) -> int:
        """A descriptor by which the file is locked, to be closed."""
        if self._asked is None:
            descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return descriptor
            except BlockingIOError:
                self._asked = _Asked(descriptor)
            except BaseException:
                os.close(descriptor)
                raise
        found = self._asked.wait(wait_s)
        if found is None:
            raise StoreBusy(BUSY)
        self._asked = None
        return found


class _Asked:
    """A lock that was asked for and may come late: the kernel's own waiting has no end.

    A thread waits for it on behalf of the caller. What comes without a caller is let go.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._changed = threading.Condition()
        self._asking = self._wanted = self._has = False

    def wait(self, wait_s: float | None) -> int | None:
        """The locked descriptor, or None where it did not come; it may be waited for again."""
        with self._changed:
            self._wanted = True
            if not self._asking:
                self._asking = True
                threading.Thread(target=self._ask, name="writer-queue", daemon=True).start()
            self._changed.wait_for(lambda: self._has, wait_s)
            self._wanted = self._has
            return self._descriptor if self._has else None

    def _ask(self) -> None:
        fcntl.flock(self._descriptor, fcntl.LOCK_EX)
        with self._changed:
            self._has = self._wanted
            if not self._has:
                fcntl.flock(self._descriptor, fcntl.LOCK_UN)
                self._asking = False
            self._changed.notify_all()
