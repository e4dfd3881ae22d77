"""A problem as a page: what went wrong, what to do, and a way on."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from flask import Response, request

from api.pages.render import page
from api.problems import rows_by_kind


def problem_as_page(body: dict[str, Any], headers: dict[str, str]) -> Response:
    """The page of a problem document.

    Args:
        body: The problem document, its sentences still sentences.
        headers: What the answer carries besides its body.
    """
    kind = str(body["type"]).rpartition("/")[2]
    response = page(
        "went_wrong.html",
        int(body["status"]),
        wasm=True,
        body=body,
        text=_asked_for() if body["status"] == 404 else "",
        advice=rows_by_kind()[kind].advice,
        again=request.full_path.rstrip("?") if request.method == "GET" else None,
        back=_way_back(),
    )
    response.headers.update(headers)
    return response


def _asked_for() -> str:
    """The code or mark that the address names, to be put right."""
    path = request.view_args or {}
    return str(request.args.get("code") or path.get("code") or path.get("text") or "")[:200]


def _way_back() -> str | None:
    """The page of ours that led here; None where none did, or it is this one."""
    came = urlsplit(request.referrer or "")
    if came.netloc != request.host or not came.path.startswith("/"):
        return None
    if request.method == "GET" and came.path == request.path:
        return None
    return came.path + (f"?{came.query}" if came.query else "")
