"""The OpenAPI document: built by flask-smorest, with our own problem answers."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

from apispec.ext.marshmallow import MarshmallowPlugin
from flask import Flask
from flask_smorest import Api, Blueprint
from marshmallow import Schema

from api.problems import PROBLEM_TYPE, TABLE, WEB
from api.schemas.described import INCHES, SENT, described_field

_LIMITS = {"minimum", "maximum", "exclusiveMinimum", "minLength", "maxLength"}
METHODS = ("get", "put", "post", "patch", "delete")

TITLE = "crib"
VERSION = "1"  # of the addresses, /v1
DESCRIPTION = (
    "Keeps the sister tool built, measured, labelled and waiting before the edge in the "
    "machine gives out. Exact lengths are decimal text in mm with four places "
    "(`length_unit=in`: inches with five, in members that end in `_in`). Instants are "
    "RFC 3339 with an offset. Errors are problem documents (RFC 9457). A forecast is a "
    "probability, not a promise; the machine's manual, site rules and qualified people "
    "come first."
)

_RETRY_AFTER: dict[str, Any] = {
    "description": "Seconds after which to ask again.",
    "required": True,
    "schema": {"type": "integer", "minimum": 0},
}

_SAID: dict[str, Any] = {
    "type": "string",
    "description": "The detail in the language of Accept-Language, where that is not English.",
}

_PROBLEM_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is so and what to do."},
        "said": _SAID,
        "instance": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["detail"],
                "properties": {
                    "field": {"type": "string"},
                    "pointer": {"type": "string", "description": "JSON pointer, RFC 6901"},
                    "parameter": {"type": "string"},
                    "detail": {"type": "string"},
                    "said": _SAID,
                },
            },
        },
    },
}


def schema_name(schema: Schema | type[Schema]) -> str:
    """Name of a schema in the document: the one given, else its class's."""
    kind = schema if isinstance(schema, type) else type(schema)
    name = kind.__name__
    if isinstance(schema, Schema):
        if schema.only is not None and set(schema.only) != set(schema.declared_fields):
            name += "Part"
        if schema.partial:
            name += "Change"
    return name


def finish_document(document: dict[str, Any]) -> None:
    """Mark what applies to requests only, and add inches beside every length in mm."""
    schemas = document["components"]["schemas"]
    sent = _named_by(_bodies(document), schemas)
    for name, schema in schemas.items():
        _finish_schema(schema, sent=name in sent)
    for operation in _operations(document):
        for parameter in operation.get("parameters", ()):
            if "schema" in parameter:
                _finish_member(parameter["schema"], sent=True)


def _operations(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for item in document["paths"].values():
        yield from (item[method] for method in METHODS if method in item)


def _bodies(document: dict[str, Any]) -> list[Any]:
    return [one["requestBody"] for one in _operations(document) if "requestBody" in one]


def _named_by(part: Any, schemas: dict[str, Any]) -> set[str]:
    """Names of the schemas that a part of the document refers to."""
    found: set[str] = set()
    rest = [part]
    while rest:
        match rest.pop():
            case {"$ref": str(reference)} if (name := reference.split("/")[-1]) not in found:
                found.add(name)
                rest.append(schemas[name])
            case dict() as members:
                rest += members.values()
            case list() as members:
                rest += members
    return found


def _finish_schema(schema: dict[str, Any], *, sent: bool) -> None:
    members = schema.get("properties", {})
    required = schema.get("required", [])
    both: list[dict[str, Any]] = []
    for name, member in [*members.items()]:
        inches = _finish_member(member, sent=sent)
        if inches is None or not name.endswith("_mm"):
            continue
        other = f"{name[:-3]}_in"
        members[other] = inches | {
            "description": f"{name} in inches, with length_unit=in in its place."
        }
        if name in required:
            pair = [{"required": [name]}, {"required": [other]}]
            schema.setdefault("allOf", []).append({"oneOf": pair})
            required.remove(name)
        else:
            both.append({"required": [name, other]})
    if both:
        schema.setdefault("allOf", []).append({"not": {"anyOf": both}})
    if not required:
        schema.pop("required", None)


def _finish_member(member: dict[str, Any], *, sent: bool) -> dict[str, Any] | None:
    """Finish the schema of one member; for a length, also in inches."""
    inches = None
    told = member.pop(INCHES, None)
    if told is not None:
        inches = {name: value for name, value in member.items() if name != SENT} | told
        _finish_member(inches, sent=sent)
    only_sent = member.pop(SENT, {})
    if sent:
        member |= only_sent
    else:  # what is worked out, and what was kept, keeps to no limit of what is sent
        for name in _LIMITS & member.keys():
            if member.get("type") != "integer":
                del member[name]
        if "type" in member:  # of a bound beside 0; a nested shape that may be null has no type
            member.pop("anyOf", None)
    items = member.get("items")
    if isinstance(items, dict):
        inner = _finish_member(items, sent=sent)
        inches = None if inner is None else member | {"items": inner}
    values = member.get("additionalProperties")
    if isinstance(values, dict):
        _finish_member(values, sent=sent)
    return inches


class Document(Api):  # type: ignore[misc]  # flask-smorest has no types
    """The OpenAPI document of an app.

    flask-smorest would answer errors by itself and declare them as plain JSON; here
    ``api.problems`` answers them.
    """

    DEFAULT_ERROR_RESPONSE_NAME = None

    def __init__(self, app: Flask) -> None:
        app.config.update(API_TITLE=TITLE, API_VERSION=VERSION, OPENAPI_VERSION="3.1.0")
        self._documenting = threading.Lock()
        plugin = MarshmallowPlugin(schema_name_resolver=schema_name)
        super().__init__(
            app,
            spec_kwargs={
                "marshmallow_plugin": plugin,
                "info": {"description": DESCRIPTION, "license": {"name": "MIT"}},
                "servers": [{"url": "/"}],
            },
        )
        plugin.converter.add_attribute_function(described_field)  # type: ignore[union-attr]
        self._waiting: list[Blueprint] = []
        app.extensions["crib_document"] = self

    def register_blueprint(self, blueprint: Blueprint, **options: Any) -> None:
        """Serve a group now; document it at the first request for the document."""
        self._app.register_blueprint(blueprint, **options)
        self._waiting.append(blueprint)

    def as_dict(self) -> dict[str, Any]:
        """The document."""
        with self._documenting:
            while self._waiting:
                blueprint = self._waiting.pop(0)
                blueprint.register_views_in_doc(
                    self, self._app, self.spec, name=blueprint.name, parameters=None
                )
                self.spec.tag({"name": blueprint.name, "description": blueprint.description})
            found: dict[str, Any] = self.spec.to_dict()
        finish_document(found)
        return found

    def _register_error_handlers(self) -> None:
        """Do nothing: ``api.problems`` registers its own."""

    def _register_responses(self) -> None:
        self.spec.components.schema("Problem", dict(_PROBLEM_SCHEMA))
        titles: dict[int, list[str]] = {}
        for row in (*TABLE.values(), *WEB.values()):
            titles.setdefault(row.status, []).append(row.title)
        for status, told in titles.items():
            self.spec.components.response(
                f"Problem{status}",
                {
                    "description": "; ".join(dict.fromkeys(told)),
                    "content": {
                        PROBLEM_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}
                    },
                }
                | ({"headers": {"Retry-After": _RETRY_AFTER}} if status == 503 else {}),
                lazy=True,
            )

    def _register_etag_headers(self) -> None:
        """Do nothing: ``api.http.etag`` sends the versions."""

    def _register_pagination_header(self) -> None:
        """Do nothing: the body and the Link header describe pages."""
