"""Running the service: one server, several processes, ended cleanly by ctrl-C or SIGTERM."""

from __future__ import annotations

import os
import signal
import socket
from pathlib import Path
from typing import Any

from api.server.files import raise_limit
from api.settings import Settings
from api.worker import STOP, load
from crib.errors import Refusal

#: Longest that the head of a request may take, and that a connection may idle [ms].
_HEADERS_MS = 30_000
#: Time for a server process to stop once asked to [s]; then it is killed.
KILLED_AFTER_S = 30

_TO_STDERR: dict[str, Any] = {
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": "generic",
            "stream": "ext://sys.stderr",
        },
        "access": {
            "class": "logging.StreamHandler",
            "formatter": "access",
            "stream": "ext://sys.stderr",
        },
    },
}


def refuse_taken(settings: Settings) -> None:
    """Refuse an address that somebody listens on: the server would quietly share it.

    Raises:
        Refusal: It is taken, or is no address of this machine.
    """
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((settings.host, settings.port))
        except OSError as problem:
            raise Refusal(
                f"Cannot listen on {settings.host} port {settings.port}: {problem.strerror}. "
                "Stop what listens there, or choose another port with --port."
            ) from problem


def serve(settings: Settings, *, access_log: bool = True) -> None:
    """Serve until stopped.

    The processes read the environment again; what was set otherwise is handed on in it.

    Args:
        settings: What the site set.
        access_log: Whether every request is logged on standard error.

    Raises:
        Refusal: The address is taken.
    """
    from granian import Granian
    from granian.constants import HTTPModes, Interfaces
    from granian.http import HTTP1Settings

    refuse_taken(settings)

    os.environ["CRIB_DATABASE_URL"] = settings.database_url
    connections = raise_limit()
    # workers import this package afresh, wherever the command was started from
    package_root = str(Path(__file__).resolve().parent.parent)
    path = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = package_root + (os.pathsep + path if path else "")
    server = Granian(
        "api.asgi:application",
        address=settings.host,
        port=settings.port,
        interface=Interfaces.ASGINL,
        workers=settings.workers,
        backpressure=connections,
        http=HTTPModes.http1,
        http1_settings=HTTP1Settings(header_read_timeout=_HEADERS_MS),
        websockets=False,
        log_access=access_log,
        log_dictconfig=_TO_STDERR,
        workers_kill_timeout=KILLED_AFTER_S,
    )
    _hold_signals_while_forking()
    server.serve(target_loader=load)


def _hold_signals_while_forking() -> None:
    """Keep a signal to stop from being lost in a server process that does not yet listen.

    Between the fork and ``api.worker.load`` such a process has this one's handlers, which stop
    nothing there. Held back, the signal waits until the process takes it.
    """
    os.register_at_fork(
        before=lambda: signal.pthread_sigmask(signal.SIG_BLOCK, STOP),
        after_in_parent=lambda: signal.pthread_sigmask(signal.SIG_UNBLOCK, STOP),
    )
