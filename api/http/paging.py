"""Lists in pages: the page in the body, the way to the next one in ``next`` and in Link."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote, urlencode

from api.http.operation import Call, Reply


def paged(call: Call, rows: Sequence[Any], *, number: str = "id") -> Reply:
    """A page out of ``limit + 1`` rows by ascending number.

    Args:
        call: The call, its query with ``limit``.
        rows: Rows after ``after``, one more than the page holds where there are more.
        number: Member or attribute by which rows ascend.
    """
    limit = int(call.query["limit"])
    shown = rows[:limit]
    if len(rows) <= limit:
        return Reply({"items": shown, "next": None})
    last = shown[-1]
    following = last[number] if isinstance(last, dict) else getattr(last, number)
    return Reply({"items": shown, "next": following}, headers=page_link(call, following))


def page_link(call: Call, following: int | None) -> dict[str, str]:
    """The header that leads to the next page (RFC 8288), none after the last."""
    if following is None:
        return {}
    query = {name: value for name, value in call.request.args.items() if name != "after"}
    address = f"{call.request.path}?{urlencode(query | {'after': following})}"
    return {"Link": f'<{quote(address, safe="/?&=%+:")}>; rel="next"'}
