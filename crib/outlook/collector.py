"""Pause garbage collection while very many objects are built that all stay."""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager


class _Rest:
    """How many are building now, and whether the collector was at work before the first."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.building = 0
        self.at_work = True


_REST = _Rest()


@contextmanager
def collector_rests() -> Iterator[None]:
    """Nothing is looked through for cycles inside; it goes on when the last one leaves.

    A plan over 40,000 edges is a million objects and no cycle: to look through them again
    and again while they are made takes a quarter of the time.
    """
    with _REST.lock:
        if _REST.building == 0:
            _REST.at_work = gc.isenabled()
            gc.disable()
        _REST.building += 1
    try:
        yield
    finally:
        with _REST.lock:
            _REST.building -= 1
            if _REST.building == 0 and _REST.at_work:
                gc.enable()
