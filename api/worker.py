"""What a server process does first: it hears the signals to stop, and stops by itself."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from api.server.front import Front

#: The signals that tell a service to stop.
STOP = {signal.SIGINT, signal.SIGTERM}
# far less than the time after which the first process kills this one (api.serving)
_TO_FINISH_S = 8
#: Time for the last answers to leave the process [s].
_TO_SEND_S = 0.2
#: Time between two looks whether the first process is still there [s].
_LOOK_S = 1.0

_serving: list[Front] = []


def load(target: str) -> Front:
    """The application of a server process.

    Args:
        target: What the server was started with; it is ``api.asgi:application`` always.
    """
    # The server's own handler waits for connections that may never end, and hangs at its
    # second call: ctrl-C and a service manager tell every process of the group, and the first
    # process then tells the others once more.
    signal.pthread_sigmask(signal.SIG_BLOCK, STOP)
    threading.Thread(target=_wait, name="signals", daemon=True).start()
    from api.asgi import application
    from api.server import files

    _serving.append(application)
    files.watch(files.raise_limit())
    return application


def _wait() -> None:
    first = _first_process()
    threading.Thread(target=_end_with, args=(first,), name="orphan", daemon=True).start()
    if sys.platform == "linux":
        told_by = signal.sigwaitinfo(STOP).si_pid
    else:
        signal.sigwait(STOP)
        told_by = first
    until = time.monotonic() + _TO_FINISH_S
    for front in _serving:
        front.stop()
        # What clients hold half sent is given up: nothing of it was recorded.
        while not front.idle and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(_TO_SEND_S)
    if sys.platform == "linux":
        # The first process takes an end that it did not ask for as a failure: wait for it.
        while told_by != first and os.getppid() == first:
            again = signal.sigtimedwait(STOP, max(0.0, until - time.monotonic()))
            told_by = again.si_pid if again else first
    os._exit(0)


def _first_process() -> int:
    """The process that started this one, and alone starts others in its place."""
    started_by = multiprocessing.parent_process()
    return os.getppid() if started_by is None or started_by.pid is None else started_by.pid


def _end_with(first: int) -> None:
    """Stop this process once the first one is gone.

    A first process that was killed can tell nobody: what is left behind would hold the port
    and its clients against the service that is started next.
    """
    # Not by a time limit on the wait for signals: Python 3.11 takes a wait that ran out while
    # the process was stopped (SIGSTOP) for a signal.
    while os.getppid() == first:
        time.sleep(_LOOK_S)
    os.kill(os.getpid(), signal.SIGTERM)
