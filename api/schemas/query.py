"""Reads the query of an address, and names every mistake in it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

from flask import Request
from marshmallow import Schema, ValidationError

from api.http.length_unit import read_inches, sent_name
from api.schemas.by_rule import ByRule
from api.schemas.fields import Choice, Shape
from crib.errors import Contradiction, Invalid
from crib.sentence import clause, sentence, together

_MOST_PARAMETERS = 100


def known_word(name: str, word: str, words: Collection[str]) -> str:
    """A query word out of a fixed list; another would silently match nothing.

    Raises:
        Invalid: It is another.
    """
    if word not in words:
        told = sentence(
            "is '{word}', not one of {words}", word=word[:40], words=together(", ", words)
        )
        raise Invalid(
            together("", (name, " ", told, ".")),
            errors=[{"field": name, "parameter": name, "detail": told}],
        )
    return word


class PlainQuery(Shape):
    """Parameters that every address accepts."""

    length_unit = Choice(
        ("mm", "in"),
        load_default="mm",
        explains=sentence(
            "Unit of exact lengths, sent and answered; in inches their names end in _in."
        ),
    )


def read_query(request: Request, schema: Schema) -> dict[str, Any]:
    """The query's values.

    Raises:
        Invalid: A name that the address does not know, one given twice, a bad value.
    """
    if request.query_string.count(b"&") > _MOST_PARAMETERS:
        raise Invalid(
            sentence(
                "The address has more than {most_parameters} parameters.",
                most_parameters=_MOST_PARAMETERS,
            )
        )
    given: dict[str, str] = {}
    for name, values in request.args.lists() if request.query_string else ():
        if len(values) > 1:
            raise Invalid(
                sentence(
                    "'{name}' is given {values} times in the address.",
                    name=name[:60],
                    values=len(values),
                ),
                errors=[_parameter(name[:60], sentence("is given more than once"))],
            )
        given[name] = values[0]
    try:
        loaded: dict[str, Any] = schema.load(given) if given else dict(_defaults(schema))
    except ValidationError as problem:
        found = [
            _parameter(str(path[0])[:60], detail)
            for path, detail in flat_messages(problem.messages_dict)
        ]
        raise Invalid(_sentence(sentence("The address"), found), errors=found) from problem
    return loaded


@cache
def _defaults(schema: Schema) -> Mapping[str, Any]:
    """Values of an empty query, kept since they never change."""
    return MappingProxyType(schema.load({}))


def _parameter(name: str, detail: str) -> dict[str, str]:
    return {"field": name, "parameter": name, "detail": detail}


def load_body(schema: Schema, body: Any) -> Any:
    """The body's values.

    Raises:
        Invalid: ``errors`` names every field that cannot be read, with a JSON pointer.
        Contradiction: Each can be read, but a rule outside the document forbids it.
    """
    marked = read_inches(body)
    try:
        return schema.load(marked)
    except ValidationError as problem:
        found = body_errors(body, problem.messages_dict)
        by_rule = all(isinstance(told, ByRule) for _, told in flat_messages(problem.messages))
        kind = Contradiction if by_rule else Invalid
        raise kind(_sentence(sentence("The body"), found), errors=found) from problem


def body_errors(body: Any, messages: dict[str, Any]) -> list[dict[str, str]]:
    """Schema messages as one entry per field, at most 100 of them."""
    found = []
    for path, detail in flat_messages(messages)[:100]:
        steps = sent_name(body, tuple(step for step in path if step != "_schema"))
        pointer = "#" + "".join(
            "/" + str(step).replace("~", "~0").replace("/", "~1")[:80] for step in steps
        )
        field = ".".join(str(step)[:80] for step in steps)
        found.append({"field": field, "pointer": pointer, "detail": detail})
    return found


def flat_messages(
    messages: Any, path: tuple[str | int, ...] = ()
) -> list[tuple[tuple[str | int, ...], str]]:
    """Nested schema messages as pairs of path and sentence."""
    if isinstance(messages, dict):
        return [
            pair
            for step, inner in messages.items()
            for pair in flat_messages(inner, (*path, step))
        ]
    if isinstance(messages, list):
        return [pair for inner in messages for pair in flat_messages(inner, path)]
    told = messages if isinstance(messages, ByRule) else clause(messages)
    return [(path, told)]


def _sentence(what: str, found: list[dict[str, str]]) -> str:
    shown = together(
        "; ",
        [
            together(" ", (error["field"], error["detail"]))
            if error["field"]
            else error["detail"]
            for error in found[:3]
        ],
    )
    more = sentence("; and {found} more", found=len(found) - 3) if len(found) > 3 else ""
    return sentence("{what} cannot be read: {shown}{more}.", what=what, shown=shown, more=more)
