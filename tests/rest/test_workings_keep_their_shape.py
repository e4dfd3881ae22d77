"""Whatever sizes a calculation is given: it is refused, or its answer keeps to its schema."""

from __future__ import annotations

import math
import os
import random
from typing import Any

from flask.testing import FlaskClient
from openapi_schema_validator import OAS31Validator

#: Bodies that are sent to each calculation; a campaign sets more.
BODIES = int(os.environ.get("CRIB_TEST_BODIES", "15"))
_WILD = (0.0, 5e-324, 1e-300, 1e-12, 1e-6, 0.5, 1.0, 1e3, 1e6, 1e9, 1e12, 1e15, 1e300)


class Writer:
    """Writes bodies that a schema allows, with sizes at and near its bounds."""

    def __init__(self, document: dict[str, Any], seed: int) -> None:
        self.schemas = document["components"]["schemas"]
        self.draw = random.Random(seed)  # noqa: S311 - no secret

    def write(self, schema: dict[str, Any]) -> Any:
        if "$ref" in schema:
            return self.write(self.schemas[schema["$ref"].split("/")[-1]])
        if "enum" in schema:
            return self.draw.choice([one for one in schema["enum"] if one is not None])
        kind = schema.get("type", "object")
        kind = next(one for one in kind if one != "null") if isinstance(kind, list) else kind
        if kind == "object":
            return self._object(schema)
        if kind == "array":
            least = schema.get("minItems", 0)
            count = least + self.draw.choice((0, 1, 2, 5))
            return [self.write(schema["items"]) for _ in range(count)]
        if kind in ("number", "integer"):
            return self._number(schema, whole=kind == "integer")
        return self.draw.random() < 0.5 if kind == "boolean" else self._text(schema)

    def _object(self, schema: dict[str, Any]) -> dict[str, Any]:
        wanted = set(schema.get("required", ()))
        for rule in schema.get("allOf", ()):
            wanted |= set(rule.get("oneOf", [{}])[0].get("required", ()))
        some = self.draw.random()
        return {
            name: self.write(inner)
            for name, inner in schema.get("properties", {}).items()
            if not name.endswith("_in") and "_in_" not in name and "_ft_" not in name
            if name in wanted or self.draw.random() < some
        }

    def _number(self, schema: dict[str, Any], *, whole: bool) -> float:
        low = schema.get("minimum", schema.get("exclusiveMinimum", -1e300))
        high = schema.get("maximum", schema.get("exclusiveMaximum", 1e300))
        bounds = [low, high, *(one for one in _WILD if low < one < high)]
        if self.draw.random() < 0.5 and high > max(low, 0):
            smallest = max(low, 1e-9, high * 1e-18)
            bounds = [smallest * math.exp(self.draw.random() * math.log(high / smallest))]
        value = self.draw.choice(bounds)
        if "exclusiveMinimum" in schema:
            value = max(value, math.nextafter(schema["exclusiveMinimum"], math.inf))
        return math.ceil(value) if whole else value

    def _text(self, schema: dict[str, Any]) -> str:
        return self.draw.choice(("A", "repeats", "0.8", "5", "1000"))


def _calculations(document: dict[str, Any]) -> dict[str, tuple[dict[str, Any], dict[str, Any]]]:
    def schema(part: dict[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = part["content"]["application/json"]["schema"]
        return found

    return {
        path: (schema(item["post"]["requestBody"]), schema(item["post"]["responses"]["200"]))
        for path, item in document["paths"].items()
        if path.startswith("/v1/workings/") and "post" in item
    }


def test_absurd_sizes_are_refused_or_answered_in_shape(client: FlaskClient) -> None:
    document = client.get("/v1/openapi.json").get_json()
    writer = Writer(document, seed=11)
    wrong, answered = [], set()

    for path, (body_schema, answer_schema) in _calculations(document).items():
        keeps = OAS31Validator(answer_schema | {"components": document["components"]})
        for _ in range(BODIES):
            body = writer.write(body_schema)
            answer = client.post(path, json=body)
            if answer.status_code != 200:
                if answer.status_code not in (404, 409, 422):
                    wrong.append((path, body, answer.status_code))
                continue
            answered.add(path)
            wrong += [
                (path, body, list(error.path), error.message[:200])
                for error in keeps.iter_errors(answer.get_json())
            ]

    assert not wrong, [str(one)[:600] for one in wrong[:5]]
    assert len(answered) > 10, answered
