"""Lists in pages: ``next`` and the Link header lead to the next one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote, urlencode

from api.http.operation import Call, Reply
from crib.store.sound_rows import not_read


def one_page(
    call: Call,
    name: str,
    rows: Sequence[dict[str, Any]],
    unreadable: Sequence[int],
    *,
    descending: bool = False,
) -> Reply:
    """A page out of ``limit + 1`` rows in the order of their ids.

    Args:
        call: The call, its query with ``limit``.
        name: The list, as in the address.
        rows: Rows after ``after``, one more than the page holds where there are more.
        unreadable: Ids of damaged rows among them: they count for the page and are named.
        descending: Whether ids descend.
    """
    limit = int(call.query["limit"])
    ids = sorted([*(int(row["id"]) for row in rows), *unreadable], reverse=descending)
    shown = set(ids[:limit])
    following = ids[limit - 1] if len(ids) > limit else None
    return Reply(
        {
            "items": [row for row in rows if row["id"] in shown],
            "next": following,
            "problems": [not_read(name, one) for one in unreadable if one in shown],
        },
        headers=page_link(call, following),
    )


def page_link(call: Call, following: int | None) -> dict[str, str]:
    """The header that leads to the next page (RFC 8288), none after the last."""
    if following is None:
        return {}
    query = urlencode(dict(call.request.args.items()) | {"after": following})
    return {"Link": f'<{quote(call.request.path)}?{query}>; rel="next"'}
