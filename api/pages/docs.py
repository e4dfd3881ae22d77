"""The documentation: the OpenAPI document and a page made from it, without scripts."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

from flask import Blueprint, Response, current_app
from markupsafe import Markup, escape

from api.http.json_body import dump_json
from api.pages.render import page

blueprint = Blueprint("docs", __name__)

_CODE: Final = re.compile(r"``?([^`]+)``?")
_BOUNDS: Final = (
    ("exclusiveMinimum", "more than"),
    ("minimum", "at least"),
    ("exclusiveMaximum", "less than"),
    ("maximum", "at most"),
)
#: Bounds that only say that a number is stored or sent as one.
_ENDLESS: Final = 1e9


@blueprint.get("/v1/openapi.json")
def openapi() -> Response:
    """The OpenAPI 3.1 document."""
    document = current_app.extensions["crib_document"].as_dict()
    return Response(dump_json(document), content_type="application/json")


@dataclass(frozen=True, slots=True)
class Member:
    """One member of a shape, as a reader wants it."""

    name: str
    kind: str
    required: bool
    explains: Markup


@dataclass(frozen=True, slots=True)
class CallText:
    """One call as the page tells it."""

    anchor: str
    method: str
    path: str
    summary: str
    description: Markup
    parameters: list[Member]
    takes: str | None
    answers: list[tuple[str, str, str | None]]


@blueprint.get("/v1/docs")
def docs() -> Response:
    """The documentation as a page."""
    document = current_app.extensions["crib_document"].as_dict()
    groups: dict[str, list[CallText]] = {}
    for path, methods in document["paths"].items():
        shared = methods.get("parameters", [])
        for method, operation in methods.items():
            if method == "parameters":
                continue
            tag = (operation.get("tags") or ["other"])[0]
            groups.setdefault(tag, []).append(_call(path, method, operation, shared))
    shapes = {
        name: _members(schema)
        for name, schema in sorted(document["components"]["schemas"].items())
    }
    says = told(document["info"].get("description", ""))
    return page("docs.html", groups=groups, shapes=shapes, says=says)


def _call(path: str, method: str, operation: dict[str, Any], shared: list[Any]) -> CallText:
    body = operation.get("requestBody", {}).get("content", {})
    return CallText(
        anchor=operation.get("operationId", f"{method}-{path}"),
        method=method.upper(),
        path=path,
        summary=operation.get("summary", ""),
        description=told(operation.get("description", "")),
        parameters=[
            Member(
                given["name"],
                f"{given['in']}, {_kind(given.get('schema', {}))}",
                bool(given.get("required")),
                told(given.get("description", "")),
            )
            for given in [*shared, *operation.get("parameters", [])]
        ],
        takes=next((_shape_name(c["schema"]) for c in body.values()), None),
        answers=[
            (status, *_answer(answer)) for status, answer in operation["responses"].items()
        ],
    )


def _answer(answer: dict[str, Any]) -> tuple[str, str | None]:
    if "$ref" in answer:
        return "Problem", "Problem"
    shapes = [_shape_name(c["schema"]) for c in answer.get("content", {}).values()]
    return answer.get("description", ""), shapes[0] if shapes else None


def _shape_name(schema: dict[str, Any]) -> str | None:
    reference = schema.get("$ref", "")
    return reference.rsplit("/", 1)[-1] or None


def _members(schema: dict[str, Any]) -> list[Member]:
    required = set(schema.get("required", ()))
    return [
        Member(name, _kind(inner), name in required, told(inner.get("description", "")))
        for name, inner in schema.get("properties", {}).items()
    ]


def _kind(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    if "anyOf" in schema:
        outer = {name: value for name, value in schema.items() if name != "anyOf"}
        return " or ".join(_kind(outer | inner) for inner in schema["anyOf"])
    if "const" in schema:
        return str(schema["const"]) or '""'
    if "enum" in schema:
        return " | ".join(str(word) or '""' for word in schema["enum"] if word is not None)
    kind = schema.get("type", "any")
    if isinstance(kind, list):
        kind = " or ".join(kind)
    if "items" in schema:
        return f"list of {_kind(schema['items'])}"
    if "format" in schema:
        return f"{kind} ({schema['format']})"
    bounds = [
        f"{words} {schema[name]:.10g}"
        for name, words in _BOUNDS
        if name in schema and abs(schema[name]) < _ENDLESS
    ]
    return ", ".join([str(kind), *bounds])


def told(text: str) -> Markup:
    """A description with its code spans as such."""
    plain = _CODE.split(text)  # every second piece stood between marks
    return Markup("").join(
        Markup('<span class="code">{}</span>').format(piece) if number % 2 else escape(piece)
        for number, piece in enumerate(plain)
    )
