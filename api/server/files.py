"""Open files: raises the limit, and warns when they run short."""

from __future__ import annotations

import logging
import os
import resource
import socket
import threading
import time
from pathlib import Path

_log = logging.getLogger("crib.api")

_MOST = 65_536
#: What a server process opens beside its connections: database, logs, pages.
_OTHER = 128
_MOST_CONNECTIONS = 8_192
_OPEN = Path("/proc/self/fd")
#: Longest that a client may leave sent data unread before it is given up [ms].
_UNREAD_MS = 30_000
_LOOK_S, _SAY_S = 2.0, 60.0


def raise_limit() -> int:
    """Raise this process's limit of open files as far as allowed.

    Returns:
        How many connections a server process may hold.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    want = _MOST if hard == resource.RLIM_INFINITY else min(hard, _MOST)
    if soft != resource.RLIM_INFINITY and soft < want:
        resource.setrlimit(resource.RLIMIT_NOFILE, (want, hard))
        soft = want
    limit = _MOST if soft == resource.RLIM_INFINITY else soft
    return max(16, min(_MOST_CONNECTIONS, limit - _OTHER))


def watch(connections: int) -> None:
    """Log a warning, from now on, when this process holds its most connections."""
    if _OPEN.is_dir():
        threading.Thread(target=_watch, args=(connections,), name="files", daemon=True).start()


def _watch(connections: int) -> None:
    others = len(os.listdir(_OPEN))
    said, prepared = float("-inf"), False
    while True:
        time.sleep(_LOOK_S)
        held = os.listdir(_OPEN)
        prepared = prepared or _give_up_unread(held)
        if len(held) - others < connections - 1 or time.monotonic() - said < _SAY_S:
            continue
        said = time.monotonic()
        _log.warning(
            "This process holds %d connections, as many as it may. New ones wait until one "
            "ends. Find out who holds them, or allow more open files (ulimit -n).",
            connections,
        )


def _give_up_unread(descriptors: list[str]) -> bool:
    """End connections whose client reads nothing that it is sent; returns whether it was set.

    All connections inherit this option from the listening socket (tcp(7)).
    """
    found = False
    for descriptor in descriptors:
        try:
            one = socket.socket(fileno=int(descriptor))
        except OSError:  # no socket, or closed by now
            continue
        try:
            if one.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, _UNREAD_MS)
                found = True
        except OSError:
            continue
        finally:
            one.detach()  # it belongs to the server
    return found
