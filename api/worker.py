"""What a server process does first: it hears the first signal to stop, and no second one."""

from __future__ import annotations

import os
import signal
import threading
import time
from typing import Any

_STOP = {signal.SIGINT, signal.SIGTERM}
# less than the time after which the first process kills this one (api.serving)
_TO_FINISH_S = 8


def load(target: str) -> Any:
    """The application of a server process.

    Args:
        target: What the server was told to load; it is ``api.wsgi:application`` always.
    """
    stop_once()
    from api.wsgi import application

    return application


def stop_once() -> None:
    """Let the first signal to stop through, and keep the others waiting for ever.

    Ctrl-C and a service manager tell every process of the group, and the first process then
    tells the others once more: the server's own handler hangs at its second call, until the
    process is killed ten seconds later. One that is told before it serves ends at once.
    """
    signal.pthread_sigmask(signal.SIG_BLOCK, _STOP)
    threading.Thread(target=_wait, name="signals", daemon=True).start()


def _wait() -> None:
    told = signal.sigwait(_STOP)
    handler = signal.getsignal(told)
    if not callable(handler) or handler is signal.default_int_handler:
        os._exit(0)  # nothing is served yet
    handler(told, None)
    # A signal that falls between the server's start and its first wait is lost inside it.
    # Every answer that was given is in the database by now: what still runs is given up.
    time.sleep(_TO_FINISH_S)
    os._exit(0)
