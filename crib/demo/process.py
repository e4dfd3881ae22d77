"""The demo's shop carried on in a process of its own, beside those that serve."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from multiprocessing.connection import Connection

from crib.clock import FastClock
from crib.demo.moving import Mover, keep_moving
from crib.demo.state import Shop
from crib.store.engine import Store

_ENDS_WITHIN_S = 10.0


@contextmanager
def moving(url: str, shop: Shop, present: datetime, speed: float) -> Iterator[FastClock]:
    """Continue a shop while the body runs.

    The clock starts once the process is ready: while it loads no machine seems to be silent.

    Args:
        url: The database that ``crib.demo.history.build`` filled.
        shop: What it returned.
        present: Simulated instant to start at.
        speed: Simulated seconds per second.

    Yields:
        The clock it goes by; the service has to go by the same.

    Raises:
        RuntimeError: The process ended before it was ready; it said why.
    """
    context = multiprocessing.get_context("spawn")  # the servers fork; nothing is to be shared
    # a pipe, not a shared event: a process that a signal ended must not leave a lock behind
    told, tell = context.Pipe()
    process = context.Process(target=_carry_on, args=(url, shop, told), daemon=True)
    process.start()
    told.close()
    try:
        _wait_until_ready(tell)
        clock = FastClock(present, speed)
        tell.send(clock)
        yield clock
    finally:
        tell.close()
        process.join(_ENDS_WITHIN_S)
        if process.is_alive():
            process.terminate()
            process.join()


def _wait_until_ready(tell: Connection) -> None:
    try:
        tell.recv()
    except EOFError as problem:
        raise RuntimeError("the process that moves the shop ended before it began") from problem


def _carry_on(url: str, shop: Shop, told: Connection) -> None:
    # ctrl-C reaches the whole group: this process ends when the one that serves says so
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    store = Store(url)
    try:
        told.send("ready")
        try:
            clock = told.recv()
        except EOFError:  # ended before it began
            return
        keep_moving(Mover(store, shop), _PipeClosed(told), clock)
    finally:
        store.close()


class _PipeClosed:
    """A stop event that is set once the other end of a pipe is closed, or its owner gone."""

    def __init__(self, told: Connection) -> None:
        self._told = told

    def wait(self, timeout: float, /) -> bool:
        """Wait a while; whether to end."""
        return self._told.poll(timeout)
