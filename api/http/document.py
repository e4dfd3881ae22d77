"""The OpenAPI document: built by flask-smorest, its errors told as what they are."""

from __future__ import annotations

import threading
from typing import Any

from apispec.ext.marshmallow import MarshmallowPlugin
from flask import Flask
from flask_smorest import Api, Blueprint
from marshmallow import Schema

from api.problems import PROBLEM_TYPE, TABLE, WEB
from api.schemas.fields import LENGTH_PATTERN

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

_PROBLEM_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is so and what to do."},
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
                },
            },
        },
    },
}


def schema_name(schema: Schema | type[Schema]) -> str:
    """Name of a schema in the document: its class's, or the one that it was given."""
    kind = schema if isinstance(schema, type) else type(schema)
    name = kind.__name__
    if isinstance(schema, Schema):
        if schema.only is not None and set(schema.only) != set(schema.declared_fields):
            name += "Part"
        if schema.partial:
            name += "Change"
    return name


def tell_inches(schema: dict[str, Any]) -> None:
    """Add to a schema that each exact length may be in inches, under a name that says so."""
    members = schema.get("properties", {})
    lengths = [
        name
        for name, member in members.items()
        if name.endswith("_mm") and member.get("pattern") == LENGTH_PATTERN
    ]
    required = schema.get("required", [])
    for name in lengths:
        inches = f"{name[:-3]}_in"
        members[inches] = members[name] | {
            "description": f"{name} in inches, with length_unit=in in its place.",
            "examples": ["0.48605"],
        }
        if name in required:
            required.remove(name)
            either = {"anyOf": [{"required": [name]}, {"required": [inches]}]}
            schema.setdefault("allOf", []).append(either)
    if not required:
        schema.pop("required", None)


class Document(Api):  # type: ignore[misc]  # flask-smorest has no types
    """The OpenAPI document of an app.

    flask-smorest would answer errors by itself and declare them as plain JSON; here
    ``api.problems`` answers them.
    """

    DEFAULT_ERROR_RESPONSE_NAME = None

    def __init__(self, app: Flask) -> None:
        app.config.update(API_TITLE=TITLE, API_VERSION=VERSION, OPENAPI_VERSION="3.1.0")
        self._documenting = threading.Lock()
        super().__init__(
            app,
            spec_kwargs={
                "marshmallow_plugin": MarshmallowPlugin(schema_name_resolver=schema_name),
                "info": {"description": DESCRIPTION, "license": {"name": "MIT"}},
                "servers": [{"url": "/"}],
            },
        )
        self._waiting: list[Blueprint] = []
        app.extensions["crib_document"] = self

    def register_blueprint(self, blueprint: Blueprint, **options: Any) -> None:
        """Serve a group now; it is documented when somebody asks for the document."""
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
        for schema in found["components"]["schemas"].values():
            tell_inches(schema)
        return found

    def _register_error_handlers(self) -> None:
        """None: ``api.problems`` has registered its own."""

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
                },
                lazy=True,
            )

    def _register_etag_headers(self) -> None:
        """None: versions are told by ``api.http.etag``."""

    def _register_pagination_header(self) -> None:
        """None: pages are told in the body and by Link."""
