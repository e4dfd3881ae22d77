"""JSON in and out: strict about NaN and infinities, fast on the busy routes."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from pathlib import PurePath
from typing import Any

import orjson
from flask.json.provider import JSONProvider

from crib.clock import print_instant
from crib.errors import Refusal
from crib.sentence import sentence

#: Most members of all objects of a body together; the hot route takes more.
_MOST_MEMBERS = 200_000
#: In a body longer than this nobody looks for the place of a bad number [bytes].
_MOST_SEARCHED = 1_000_000

_DUMP = orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_PASSTHROUGH_DATETIME


class HalfJson(Refusal):
    """The body is not JSON, or is cut off (400)."""

    kind = "half-json"


class NotJson(Refusal):
    """The body has a media type that is not accepted here (415)."""

    kind = "not-json"


def _print(value: object) -> object:
    if isinstance(value, datetime):
        return print_instant(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (Decimal, PurePath)):
        return str(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (set, frozenset)):
        return sorted(value)
    raise TypeError(f"{type(value).__name__} has no JSON")


def dump_json(value: object) -> bytes:
    """Compact JSON; instants as RFC 3339 in UTC, NaN and infinities as null."""
    try:
        return orjson.dumps(value, _print, _DUMP)
    except orjson.JSONEncodeError as problem:
        if "64-bit" not in str(problem):
            raise
        return json.dumps(value, default=_print, allow_nan=False).encode()


def read_json(raw: bytes, *, unique_names: bool = True) -> Any:
    """Read a JSON body.

    Args:
        raw: The body.
        unique_names: Refuse an object that names a member twice (a second pass over the
            text; the hot route does without).

    Raises:
        HalfJson: Not JSON, cut off, NaN or an infinity, a name given twice, far too much.
    """
    if unique_names and raw.count(b":") > _MOST_MEMBERS:  # before anything is built of it
        raise HalfJson(
            sentence(
                "The body has more than {most_members} members. Nothing was recorded. "
                "Send fewer at once.",
                most_members=_MOST_MEMBERS,
            )
        )
    try:
        return _parsed(raw, unique_names)
    except RecursionError as problem:
        raise HalfJson(
            sentence(
                "The JSON body is nested too deeply. Nothing was recorded. Send only members "
                "that this call takes."
            )
        ) from problem


def _parsed(raw: bytes, unique_names: bool) -> Any:
    try:
        value = orjson.loads(raw)
        if unique_names:
            json.loads(raw, object_pairs_hook=_refuse_twice)
    except ValueError as problem:
        field = _endless_number(raw)
        if field is not None:
            the_body = sentence("The body")
            raise HalfJson(
                sentence(
                    "{field} is not a finite number. Leave out what is not known. Nothing "
                    "was recorded.",
                    field=field or the_body,
                ),
                errors=[{"field": field, "detail": sentence("not a finite number")}],
            ) from problem
        if not raw.strip():
            raise HalfJson(
                sentence("The body is empty; this call takes a JSON object.")
            ) from problem
        raise _not_whole(str(problem)) from problem
    return value


def _endless_number(raw: bytes) -> str | None:
    """Path of the first NaN, infinity or overflow, if those are all that is wrong.

    Raises:
        RecursionError: The body is nested too deeply to be searched.
    """
    if len(raw) > _MOST_SEARCHED:
        return None
    try:
        rest: list[tuple[str, Any]] = [("", json.loads(raw))]
    except ValueError:
        return None
    while rest:
        path, value = rest.pop()
        if isinstance(value, float) and not math.isfinite(value):
            return path
        inner: Iterable[tuple[object, Any]] = ()
        if isinstance(value, dict):
            inner = value.items()
        elif isinstance(value, list):
            inner = enumerate(value)
        rest += [(f"{path}.{name}".lstrip("."), one) for name, one in reversed([*inner])]
    return None


def _not_whole(problem: str) -> HalfJson:
    return HalfJson(
        sentence(
            "The body is not complete JSON: {problem}. Nothing was recorded; send it again.",
            problem=problem,
        )
    )


def _refuse_twice(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members: dict[str, object] = {}
    for name, value in pairs:
        if name in members:
            raise _not_whole(sentence("'{name}' is given twice in one object", name=name[:60]))
        members[name] = value
    return members


class OrjsonProvider(JSONProvider):
    """Flask's JSON by orjson: the default would write a bare NaN."""

    def dumps(self, obj: Any, **kwargs: Any) -> str:
        """JSON text of ``obj``."""
        return dump_json(obj).decode()

    def loads(self, s: str | bytes, **kwargs: Any) -> Any:
        """Value of JSON text."""
        return orjson.loads(s)
