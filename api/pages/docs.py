"""The documentation: the OpenAPI document and pages made from it, without scripts."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any, Final

from flask import Blueprint, Response, current_app, g, request
from markupsafe import Markup, escape

from api.http.json_body import dump_json
from api.pages.render import page
from api.problems import no_such_address

blueprint = Blueprint("docs", __name__)

_CODE: Final = re.compile(r"``?([^`]+)``?")
_NAME: Final = re.compile(r"(\w+)")
_LONGEST: Final = 100
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
    return Response(dump_json(_document()), content_type="application/json")


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


@dataclass(frozen=True, slots=True)
class Subject:
    """Calls about one thing.

    Attributes:
        slug: Last part of its address.
        name: What it is called.
        about: What it is about, in a sentence.
        calls: Its calls, or those of them that were asked for.
    """

    slug: str
    name: str
    about: str
    calls: list[CallText]


@blueprint.get("/v1/docs")
def docs() -> Response:
    """Every call by subject, or those that hold the words that were asked for."""
    document = _document()
    words = request.args.get("q", "").strip()[:_LONGEST]
    found = [
        replace(one, calls=[call for call in one.calls if _holds(call, one, words)])
        for one in _subjects(document)
    ]
    return page(
        "docs.html",
        subjects=[one for one in found if one.calls],
        shapes=[
            name
            for name in sorted(document["components"]["schemas"])
            if words and all(word in name.casefold() for word in words.casefold().split())
        ],
        words=words,
        says=told(document["info"].get("description", "")),
    )


@blueprint.get("/v1/docs/<subject>")
def docs_of(subject: str) -> Response:
    """The calls of one subject, in full."""
    found = next((one for one in _subjects(_document()) if one.slug == subject), None)
    if found is None:
        return no_such_address(f"No calls are about {subject[:60]}.")
    return page("docs_subject.html", subject=found)


@blueprint.get("/v1/docs/shapes/<name>")
def docs_shape(name: str) -> Response:
    """What one shape is made of."""
    document = _document()
    schema = document["components"]["schemas"].get(name)
    if schema is None:
        return no_such_address(f"No shape is called {name[:60]}.")
    users = [
        (one, call)
        for one in _subjects(document)
        for call in one.calls
        if name in (call.takes, *(shape for _, _, shape in call.answers))
    ]
    return page("docs_shape.html", name=name, members=_members(schema), users=users)


@blueprint.app_template_global("shapes_linked")
def shapes_linked(kind: str) -> Markup:
    """The kind of a value; shapes in it lead to their pages."""
    shapes = _document()["components"]["schemas"]
    return Markup("").join(
        Markup('<a href="/v1/docs/shapes/{0}">{0}</a>').format(piece)
        if piece in shapes
        else escape(piece)
        for piece in _NAME.split(kind)
    )


def _document() -> dict[str, Any]:
    """The document, put together once for each page."""
    if "crib_document" not in g:
        g.crib_document = current_app.extensions["crib_document"].as_dict()
    found: dict[str, Any] = g.crib_document
    return found


def _subjects(document: dict[str, Any]) -> list[Subject]:
    groups: dict[str, list[CallText]] = {}
    for path, methods in document["paths"].items():
        shared = methods.get("parameters", [])
        for method, operation in methods.items():
            if method == "parameters":
                continue
            tag = (operation.get("tags") or ["other"])[0]
            groups.setdefault(tag, []).append(_call(path, method, operation, shared))
    about = {one["name"]: one.get("description", "") for one in document.get("tags", ())}
    return [
        Subject(tag.replace(" ", "_"), _in_words(tag), about.get(tag, ""), calls)
        for tag, calls in sorted(groups.items(), key=lambda one: one[0].casefold())
    ]


def _in_words(tag: str) -> str:
    """The name of a subject, such as Holder types; a standard keeps its own spelling."""
    return {"mtconnect": "MTConnect"}.get(tag, re.sub("[_-]", " ", tag).capitalize())


def _holds(call: CallText, subject: Subject, words: str) -> bool:
    text = f"{subject.name} {call.method} {call.path} {call.summary} {call.description}"
    return all(word in text.casefold() for word in words.casefold().split())


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
