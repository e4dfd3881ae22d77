"""What the document says of a field beyond its type: read off the field that does the reading.

Every limit of what may be sent comes from here or from the field's own metadata, so that the
document and the refusals cannot drift apart.
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any

from marshmallow import fields

from api.schemas.fields import At, Choice, ExactLength, Length, Lengths, LengthsByMeasure, Text
from api.schemas.patterns import (
    INSTANT_YEARS,
    PLAIN_TEXT,
    SEVERAL_LINES,
    TIME_OF_DAY,
    Digits,
    day_pattern,
    number_pattern,
)
from api.schemas.records import Amount, Cell, Filter, Template
from crib.records.columns import Column
from crib.units import EXACT_MM_PER_IN, LONGEST_MM, MM_PER_IN

#: What holds only of what is sent; answers may hold more (a text block has several lines).
SENT = "x-sent"
#: What the same member is in inches, under its name in inches.
INCHES = "x-inches"

_MM = Digits(9, places=4, zeros=8)
_IN = Digits(9, places=12)
_LONGEST = Decimal(LONGEST_MM)
_FINE = Decimal("1e-7")

#: Years of a closure; as ``crib.floor.closures`` takes them.
_CLOSURE_YEARS = "(19[7-9][0-9]|2[01][0-9]{2}|2200)"
_CLOSURE_LEAPS = (
    "(19(7[26]|8[048]|9[26])|20([02468][048]|[13579][26])|21(0[48]|[2468][048]|[13579][26]))"
)
_CLOSURE_TIME = r"([Tt ](([01][0-9]|2[0-3]):[0-5][0-9]|24:00)(:00)?)?"


def described_field(  # noqa: C901 - one per kind
    _converter: object, field: fields.Field[Any], **_: Any
) -> dict[str, Any]:
    """Keywords of JSON Schema for a field; an attribute function of apispec."""
    match field:
        case Filter():
            return {SENT: _or_empty(cell_schema(field.column))}
        case Amount():
            kinds = ["string", "number", *(["null"] if field.allow_none else [])]
            return {SENT: {"type": kinds} | _amount(field.column)}
        case Cell():
            return {SENT: cell_schema(field.column)}
        case ExactLength():
            return _exact_length(field)
        case Length():
            return {INCHES: _in_inches(field)}
        case Lengths() | LengthsByMeasure():
            return {INCHES: {}}
        case At():
            return {SENT: {"pattern": INSTANT_YEARS}}
        case Choice():
            return {}
        case Template():
            return {SENT: {"pattern": SEVERAL_LINES}}
        case Text():
            return {SENT: {"pattern": PLAIN_TEXT}}
    return {}


def _or_empty(told: dict[str, Any]) -> dict[str, Any]:
    """The same, or no text at all: a filter for what is not given."""
    match told:
        case {"enum": words}:
            return {"enum": ["", *words]}
        case {"format": _}:
            return {"anyOf": [{"const": ""}, told]}
    return {"pattern": f"^$|{told['pattern']}"}


def _bounds(limited: Any) -> tuple[float | None, float | None, float | None, bool]:
    """Least, above, most of a field or column, and whether 0 is taken beside them."""
    bounds = getattr(limited, "bounds", limited)
    least = getattr(bounds, "least", None)
    most = getattr(bounds, "most", None)
    if isinstance(bounds, Column):
        least, most = bounds.minimum, bounds.maximum
    return least, bounds.above, most, bool(getattr(bounds, "zero", False))


def _decimals(limited: Any, step: Decimal) -> tuple[Decimal | None, Decimal | None, bool]:
    """Smallest and largest value of a field or column, both allowed, and whether 0 is too."""
    least, above, most, zero = _bounds(limited)
    low = None if least is None else Decimal(repr(least))
    if above is not None:
        more = Decimal(repr(above)).quantize(step, ROUND_FLOOR) + step
        low = more if low is None else max(low, more)
    return low, None if most is None else Decimal(repr(most)), zero


def _number_text(limited: Any, digits: Digits) -> str:
    step = Decimal(1).scaleb(-digits.places)
    low, high, zero = _decimals(limited, step)
    pattern = number_pattern(low, high, digits)
    if zero and low is not None and low > 0:
        pattern = f"{number_pattern(Decimal(0), Decimal(0), digits)}|{pattern}"
    return pattern


def _exact_length(field: ExactLength) -> dict[str, Any]:
    low, high, zero = _decimals(field, Decimal("1e-4"))
    metric = _length_pattern(low, high, _MM, zero=zero)
    least_in, most_in = _inches(low, ROUND_CEILING), _inches(high, ROUND_FLOOR)
    inches = _length_pattern(least_in, most_in, _IN, zero=zero)
    sent: dict[str, Any] = {"pattern": metric}
    in_inches: dict[str, Any] = {}
    if "number" in field.metadata.get("type", ()):
        sent |= {
            "minimum": float(-_LONGEST if low is None else low),
            "maximum": float(_LONGEST if high is None else high),
            "multipleOf": 0.0001,
        }
        in_inches = {
            "minimum": float(-_LONGEST if least_in is None else least_in),
            "maximum": float(_LONGEST if most_in is None else most_in),
        }
    told = {"pattern": inches} | in_inches
    return {SENT: sent, INCHES: {SENT: told, "examples": ["0.48605"]}}


def _length_pattern(
    low: Decimal | None, high: Decimal | None, digits: Digits, *, zero: bool
) -> str:
    least = -_LONGEST if low is None else max(low, -_LONGEST)
    most = _LONGEST if high is None else min(high, _LONGEST)
    found = number_pattern(least, most, digits)
    if zero and least > 0:
        found = f"{number_pattern(Decimal(0), Decimal(0), digits)}|{found}"
    return found


def _inches(bound_mm: Decimal | None, rounding: str) -> Decimal | None:
    """A bound in inches, rounded by a few nanometres to the safe side."""
    return None if bound_mm is None else (bound_mm / EXACT_MM_PER_IN).quantize(_FINE, rounding)


def _in_inches(field: Length) -> dict[str, Any]:
    """Bounds of a plain number in inches: the outermost floats whose millimetres fit."""
    least, above, most, zero = _bounds(field)
    told: dict[str, Any] = {}
    if most is not None:
        told["maximum"] = _inch_float(most, -math.inf)
    if least is not None:
        told["minimum"] = 0.0 if zero else _inch_float(least, math.inf)
    if above is not None:
        told["exclusiveMinimum"] = _inch_float(above, -math.inf)
    if zero and least is not None:
        told["anyOf"] = [{"const": 0}, {"minimum": _inch_float(least, math.inf)}]
    return told


def _inch_float(bound_mm: float, towards: float) -> float:
    inches = bound_mm / MM_PER_IN
    while (inches * MM_PER_IN > bound_mm) if towards < 0 else (inches * MM_PER_IN < bound_mm):
        inches = math.nextafter(inches, towards)
    return inches


def _amount(column: Column) -> dict[str, Any]:
    low, high, _ = _decimals(column, Decimal("0.01"))
    numbers = {"minimum": low, "maximum": high}
    told: dict[str, Any] = {
        name: float(value) for name, value in numbers.items() if value is not None
    }
    return cell_schema(column) | told | {"multipleOf": 0.01}


def cell_schema(column: Column) -> dict[str, Any]:  # noqa: C901 - one per kind
    """JSON Schema of a cell's text, as ``crib.records.values`` reads it."""
    match column.kind:
        case "choice":
            return {"enum": list(column.choices)}
        case "yes_no":
            return {"enum": ["yes", "no", "true", "false", "1", "0"]}
        case "integer":
            return {"pattern": _number_text(column, Digits(18))}
        case "number":
            return {"pattern": _number_text(column, Digits(12, places=9))}
        case "length":
            low, high, zero = _decimals(column, Decimal("1e-4"))
            return {"pattern": _length_pattern(low, high, _MM, zero=zero)}
        case "money":
            digits = Digits(12, places=2, zeros=6, bare_point=False)
            return {"pattern": _number_text(column, digits)}
        case "instant":
            return {"format": "date-time", "pattern": INSTANT_YEARS}
        case "date":
            return {"format": "date"}
        case "time":
            return {"pattern": TIME_OF_DAY}
        case "local":
            return {"pattern": day_pattern(_CLOSURE_YEARS, _CLOSURE_LEAPS, _CLOSURE_TIME)}
    return {"pattern": PLAIN_TEXT}
