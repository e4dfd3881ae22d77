"""One call of a WSGI application (PEP 3333) for a request of an ASGI server."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote_to_bytes

WsgiApp = Callable[..., Iterable[bytes]]


@dataclass(frozen=True, slots=True)
class WholeAnswer:
    """An answer, ready to be sent."""

    status: int
    headers: list[tuple[bytes, bytes]]
    body: bytes


def header_map(scope: Mapping[str, Any]) -> dict[str, str]:
    """Header names in lower case and values; one sent twice is joined by commas.

    A name with an underscore is left out: WSGI could not tell it from one with a dash, so
    it could slip past a check of the other.
    """
    found: dict[str, str] = {}
    for raw_name, raw_value in scope["headers"]:
        name, value = raw_name.decode("latin-1").lower(), raw_value.decode("latin-1")
        if "_" in name:
            continue
        if name in found:
            value = found[name] + ("; " if name == "cookie" else ",") + value
        found[name] = value
    return found


def environ_of(
    scope: Mapping[str, Any], headers: Mapping[str, str], body: bytes
) -> dict[str, Any]:
    """The WSGI environment of a call, with its whole body."""
    server = scope.get("server") or ("localhost", 80)
    client = scope.get("client") or ("", 0)
    environ: dict[str, Any] = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": unquote_to_bytes(scope["raw_path"]).decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_NAME": server[0],
        "SERVER_PORT": str(server[1]),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "REMOTE_ADDR": client[0],
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope["scheme"],
        "wsgi.input": io.BytesIO(body),
        "wsgi.input_terminated": True,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }
    for name, value in headers.items():
        environ["HTTP_" + name.upper().replace("-", "_")] = value
    if "content-type" in headers:
        environ["CONTENT_TYPE"] = environ.pop("HTTP_CONTENT_TYPE")
    environ.pop("HTTP_CONTENT_LENGTH", None)
    environ.pop("HTTP_TRANSFER_ENCODING", None)
    environ["CONTENT_LENGTH"] = str(len(body))
    return environ


def call(app: WsgiApp, environ: dict[str, Any], ready: Callable[[WholeAnswer], None]) -> None:
    """Run the application, send its answer, then run what it left for afterwards."""
    told: dict[str, Any] = {}

    def start_response(
        status: str, headers: list[tuple[str, str]], _problem: object = None
    ) -> Callable[[bytes], object]:
        told["status"], told["headers"] = int(status.split(" ", 1)[0]), headers
        return written.append

    written: list[bytes] = []
    chunks = app(environ, start_response)
    try:
        written.extend(chunks)
        ready(_whole(told["status"], told["headers"], b"".join(written)))
    finally:
        close = getattr(chunks, "close", None)
        if close is not None:
            close()


def _whole(status: int, headers: list[tuple[str, str]], body: bytes) -> WholeAnswer:
    raw = [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in headers]
    has_length = any(name == b"content-length" for name, _ in raw)
    if status not in (204, 304) and not has_length:
        raw.append((b"content-length", str(len(body)).encode()))
    return WholeAnswer(status, raw, body)
