"""Which version of a resource is meant: ETag, If-None-Match, If-Match."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from flask import Request

from api.http.length_unit import LENGTH_UNIT
from crib.errors import ChangedMeanwhile, Refusal
from crib.sentence import sentence


class PreconditionNeeded(Refusal):
    """An edit came without If-Match (428)."""

    kind = "precondition-needed"


def plain_tag(row: Mapping[str, Any]) -> str:
    """Tag of a record: its id, its version, and what changes without a new version.

    Examples:
        >>> plain_tag({"id": 7, "version": 3}), plain_tag({"id": 7, "version": 3, "on_hand": 9})
        ('7.3', '7.3.9')
    """
    moving = f".{row['on_hand']}" if "on_hand" in row else ""
    return f"{row['id']}.{row['version']}{moving}"


def version_tag(row: Mapping[str, Any]) -> str:
    """Tag of a record in the requested unit."""
    unit = LENGTH_UNIT.get()
    return plain_tag(row) + ("" if unit == "mm" else f".{unit}")


def body_tag(body: bytes) -> str:
    """Tag of an answer that has no version of its own."""
    return hashlib.blake2b(body, digest_size=10).hexdigest()


def is_unchanged(request: Request, tag: str) -> bool:
    """Whether the client holds this version already (If-None-Match)."""
    return bool(request.if_none_match) and request.if_none_match.contains_weak(tag)


def refuse_stale(request: Request, row: Mapping[str, Any]) -> None:
    """Refuse an edit that does not name the present version.

    Raises:
        PreconditionNeeded: No If-Match.
        ChangedMeanwhile: If-Match names another version.
    """
    if "If-Match" not in request.headers:
        raise PreconditionNeeded(
            sentence(
                "Say which version you edit: read it first, then send its ETag in If-Match."
            )
        )
    given = request.if_match
    plain = plain_tag(row)
    if not given.star_tag and not any(given.contains(tag) for tag in (plain, f"{plain}.in")):
        raise ChangedMeanwhile(
            sentence(
                "It was changed since you read it: read it again and look at the change first."
            ),
            facts={"etag": f'"{plain}"'},
        )
