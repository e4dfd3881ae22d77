"""What stands around every page: where one may go, who stands here, fresh keys for forms."""

from __future__ import annotations

from typing import Any

from flask import Flask, request

from api.language import _
from api.pages.acts import KEY_FIELD, fresh_key
from api.pages.here import person_here

#: Pages whose address does not say which part of the service they belong to.
_BELOW = {"/rack": "/bench/rack"}


def add_frame(app: Flask) -> None:
    """Give every template the frame's values."""
    app.context_processor(_frame)


def _frame() -> dict[str, Any]:
    return {
        "nav": [
            ("/bench", _("Bench")),
            ("/machines", _("Machines")),
            ("/shift", _("Shift")),
            ("/workings", _("Numbers")),
        ],
        "here": _BELOW.get(request.path, request.path),
        "way_back": request.full_path.rstrip("?") if request.method == "GET" else request.path,
        "person_here": person_here,
        "act_key": fresh_key,
        "act_key_field": KEY_FIELD,
    }
