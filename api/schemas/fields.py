"""Fields that mean the same in every schema: exact lengths, instants, whole numbers, text."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields

from api.http.length_unit import LENGTH_UNIT, NO_INCHES, Inches, InchNumber
from api.schemas.by_rule import NAMED_IN_MM
from api.schemas.printing import print_object
from crib.clock import parse_instant, print_instant
from crib.errors import Invalid
from crib.records.bounds import Bounds
from crib.records.columns import LONGEST_TEXT, Column
from crib.records.plain_text import unseen
from crib.sentence import figure, sentence, together
from crib.units import (
    MM_PER_IN,
    TENTHS_UM_PER_MM,
    in_from_tenths_um,
    mm_from_tenths_um,
    tenths_um_from_in,
    tenths_um_from_mm,
)

#: Most unknown fields that are named one by one; of more, only the number is given.
_MOST_UNKNOWN = 100

LENGTH_PATTERN = r"^[+-]?([0-9]{1,9}([.][0-9]{0,12})?|[.][0-9]{1,12})$"


class Shape(Schema):
    """A schema that refuses members it does not know, and prints without detours."""

    class Meta:
        """Unknown members are mistakes; they are named, not dropped."""

        unknown = RAISE

    error_messages = {  # noqa: RUF012 - as marshmallow declares it
        "unknown": sentence("is not a field of this call"),
        "type": sentence("must be a JSON object"),
    }

    def load(self, data: Any, **kwargs: Any) -> Any:
        """Read an object; one with far more members than are known is refused as a whole."""
        if isinstance(data, Mapping) and len(data) > len(self.load_fields) + _MOST_UNKNOWN:
            known = len(self.load_fields)
            raise ValidationError(
                {
                    "_schema": [
                        sentence(
                            "has {data} members; this call knows {known}",
                            data=len(data),
                            known=known,
                        )
                    ]
                }
            )
        return super().load(data, **kwargs)

    def dump(self, obj: Any, *, many: bool | None = None) -> Any:
        """Print an object, or the objects of a collection.

        The library's own way goes through four calls per value to reach it. Shapes have no
        dump hooks, no dotted attributes and no defaults of what is printed.
        """
        if self.many if many is None else many:
            return [self.dump(one, many=False) for one in obj]
        printers = self.__dict__.get("_printers")
        if printers is None:
            printers = self._printers = [
                (name, field.attribute or name, field._serialize)
                for name, field in self.dump_fields.items()
            ]
        return print_object(printers, obj)


def within(column: Column, **kwargs: Any) -> dict[str, Any]:
    """Arguments of a number's or length's field that takes what the column may hold."""
    bounds = column.bounds
    return {
        "above": bounds.above,
        "least": bounds.least,
        "most": bounds.most,
        "zero": bounds.zero,
        "usual": bounds.usual,
    } | kwargs


def _refuse_implausible(bounds: Bounds, value: float, unit: str = "") -> None:
    if bounds.admits(value):
        return
    question = bounds.question(value)
    if not question:
        raise ValidationError(sentence("must be {bounds}{unit}", bounds=bounds, unit=unit))
    raise ValidationError(
        sentence(
            "{value}{unit} is not plausible; it must be {bounds}{unit}.{question}",
            value=figure(value, "g"),
            unit=unit,
            bounds=bounds,
            question=question,
        )
    )


def _sentence(kwargs: Mapping[str, Any]) -> str:
    """What is explained already, as a sentence that another can follow."""
    told = str(kwargs.get("explains") or "")
    return told if not told or told.endswith((".", "?")) else f"{told}."


def _described(kwargs: dict[str, Any], **schema: object) -> dict[str, Any]:
    given = dict(kwargs)
    metadata = dict(given.pop("metadata", {}))
    explains = given.pop("explains", None)
    if explains:
        metadata["description"] = explains
    for name, value in schema.items():
        metadata.setdefault(name, value)
    messages = {
        "required": sentence("is missing"),
        "null": sentence("may not be null; leave it out instead"),
    }
    return {"error_messages": messages} | given | {"metadata": metadata}


class Text(fields.String):
    """Plain text without control characters.

    Args:
        longest: Most characters taken.
        least: Fewest characters taken.
        bounds: Whether the documentation tells both.
    """

    def __init__(
        self,
        *,
        longest: int = LONGEST_TEXT,
        least: int = 1,
        bounds: bool = True,
        **kwargs: Any,
    ) -> None:
        told = {"maxLength": longest} | ({"minLength": least} if least else {})
        super().__init__(**_described(kwargs, **(told if bounds else {})))
        self.longest, self.least = longest, least

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError(sentence("must be text in quotes"))
        text = value.strip()
        if len(text) < self.least:
            raise ValidationError(sentence("is empty"))
        if len(text) > self.longest:
            raise ValidationError(
                sentence(
                    "is {text} characters long; at most {longest}",
                    text=len(text),
                    longest=self.longest,
                )
            )
        wrong = unseen(text)
        if wrong is not None:
            raise ValidationError(wrong)
        return text

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> str | None:
        if value is None or isinstance(value, str):  # nearly always; a sentence stays one
            return value
        return super()._serialize(value, attr, obj, **kwargs)


class Choice(Text):
    """One of a few words."""

    def __init__(self, choices: tuple[str, ...], **kwargs: Any) -> None:
        may_be_null = kwargs.get("allow_none") or kwargs.get("load_default", ...) is None
        words = [*choices, None] if may_be_null else list(choices)
        super().__init__(bounds=False, **_described(kwargs, enum=words))
        self.choices = choices

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        text = super()._deserialize(value, attr, data, **kwargs)
        if text not in self.choices:
            raise ValidationError(
                sentence(
                    "is '{text}', not one of {choices}",
                    text=text[:40],
                    choices=together(", ", self.choices),
                )
            )
        return text


class ExactLength(fields.String):
    """An exact length: decimal text in mm (inches on request) here, int [0.1 µm] inside.

    Args:
        above: Length that must be exceeded [mm].
        least: Smallest length taken [mm].
        most: Largest length taken [mm].
        zero: Whether 0 is taken beside them.
        usual: What is mostly sent, to guess a slip [mm].
    """

    def __init__(
        self,
        *,
        above: float | None = None,
        least: float | None = None,
        most: float | None = None,
        zero: bool = False,
        usual: tuple[float, float] | None = None,
        **kwargs: Any,
    ) -> None:
        self.bounds = Bounds(least, above, most, zero, usual)
        if least is not None or most is not None:  # text: no keyword of JSON Schema tells it
            told = f"Value {self.bounds} mm."
            kwargs["explains"] = " ".join(filter(None, (_sentence(kwargs), told)))
        super().__init__(**_described(kwargs, pattern=LENGTH_PATTERN, examples=["12.3456"]))

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:  # type: ignore[override]
        if not isinstance(value, str):
            raise ValidationError(
                sentence('is a number; write an exact length as text, like "12.3456"')
            )
        try:
            length = self._read(value)
        except Invalid as refusal:
            raise ValidationError(refusal.sentence) from refusal
        _refuse_implausible(self.bounds, length / TENTHS_UM_PER_MM, " mm")
        return length

    def _read(self, value: str) -> int:
        if isinstance(value, Inches):
            return tenths_um_from_in(value)
        if LENGTH_UNIT.get() == "in":
            raise ValidationError(NAMED_IN_MM)
        return tenths_um_from_mm(value)

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> str | None:
        if LENGTH_UNIT.get() == "in":
            return NO_INCHES if value is None else Inches(in_from_tenths_um(value))
        return None if value is None else mm_from_tenths_um(value)


def text_of_number(value: float, places: int) -> str:
    """Decimal text of a number that came where text is usual, without a float's own noise.

    Raises:
        ValidationError: It has more decimals than that.
    """
    exact = Decimal(repr(value))
    try:
        rounded = round(exact, places)
    except InvalidOperation:
        raise ValidationError(sentence("cannot be written as a decimal number")) from None
    if abs(exact - rounded) > abs(rounded) * Decimal("1e-14"):
        raise ValidationError(sentence("has more than {places} decimals", places=places))
    return format(rounded, "f")


class WornLand(ExactLength):
    """A length read off a worn edge: never keyed in, so a number in mm will do too."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**_described(kwargs, type=["string", "number"]))

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:  # type: ignore[override]
        if isinstance(value, InchNumber):
            value = Inches(format(round(Decimal(repr(float(value))), 12), "f"))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            value = text_of_number(value, 4)
        return super()._deserialize(value, attr, data, **kwargs)


class At(fields.String):
    """An instant: RFC 3339 with an offset here, an aware datetime in UTC inside."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**_described(kwargs, format="date-time"))

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> datetime:  # type: ignore[override]
        if not isinstance(value, str):
            raise ValidationError(
                sentence("must be an instant as text, like 2026-03-29T01:30:00+01:00")
            )
        try:
            return parse_instant(value)
        except Invalid as refusal:
            raise ValidationError(refusal.sentence) from refusal

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> str | None:
        return None if value is None else print_instant(value)


class Day(fields.String):
    """A calendar day, ``2026-03-29``."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**_described(kwargs, format="date"))

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> str | None:
        return value.isoformat() if isinstance(value, date) else value


class Whole(fields.Integer):
    """A whole JSON number within bounds; never a bool or text (but in a query).

    Args:
        least: Smallest value taken.
        most: Largest value taken.
        query: Read it from the text of a query.
    """

    def __init__(
        self,
        *,
        least: int = 0,
        most: int = 2_147_483_647,
        query: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(strict=True, **_described(kwargs, minimum=least, maximum=most))
        self.least, self.most, self.query = least, most, query

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        if self.query and isinstance(value, str) and value.isascii() and len(value) < 20:
            value = int(value) if value.lstrip("-").isdigit() else value
        if (
            isinstance(value, float) and value.is_integer()
        ):  # 2.0 is whole, as JSON Schema has it
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValidationError(sentence("must be a whole number"))
        if not self.least <= value <= self.most:
            raise ValidationError(
                sentence("must be from {least} to {most}", least=self.least, most=self.most)
            )
        return value


class Number(fields.Float):
    """A finite JSON number within bounds.

    Args:
        above: Value that must be exceeded.
        least: Smallest value taken.
        most: Largest value taken.
        query: Read it from the text of a query.
        zero: Whether 0 is taken beside them.
        usual: What is mostly sent, to guess a slip.
    """

    def __init__(
        self,
        *,
        above: float | None = None,
        least: float | None = None,
        most: float | None = None,
        query: bool = False,
        zero: bool = False,
        usual: tuple[float, float] | None = None,
        **kwargs: Any,
    ) -> None:
        most = 1e12 if most is None else most
        bounds: dict[str, object] = {"maximum": most}
        if above is not None:
            bounds["exclusiveMinimum"] = above
        if least is not None:
            bounds["minimum"] = 0 if zero else least
        if zero:
            bounds["anyOf"] = [{"const": 0}, {"minimum": least}]
        super().__init__(**_described(kwargs, **bounds))
        self.bounds, self.query = Bounds(least, above, most, zero, usual), query

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> float:
        if isinstance(value, InchNumber):
            raise ValidationError(sentence("cannot be given in inches here; send it in mm"))
        return self._number(value)

    def _number(self, value: Any) -> float:
        if self.query and isinstance(value, str) and len(value) < 30 and "_" not in value:
            try:
                value = float(value)
            except ValueError:
                raise ValidationError(sentence("must be a number")) from None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValidationError(sentence("must be a number"))
        if not math.isfinite(value):
            raise ValidationError(sentence("must be a finite number"))
        _refuse_implausible(self.bounds, value)
        return float(value)

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> float | None:
        return None if value is None or not math.isfinite(value) else float(value)


class Length(Number):
    """A length as a plain number: mm here inside, inches where the request asks for them."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> float:
        if isinstance(value, InchNumber):
            return self._number(float(value) * MM_PER_IN)
        if LENGTH_UNIT.get() == "in":
            raise ValidationError(NAMED_IN_MM)
        return self._number(value)

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> float | str | None:  # type: ignore[override]
        number = super()._serialize(value, attr, obj, **kwargs)
        if LENGTH_UNIT.get() != "in":
            return number
        return NO_INCHES if number is None else InchNumber(number / MM_PER_IN)


class Lengths(fields.Nested):
    """Lengths by measure under one name that ends in their unit and changes with it."""


class LengthsByMeasure(fields.Dict):
    """The same, of whatever measures there are.

    Args:
        nullable_values: Whether a measure may have none.
    """

    def __init__(self, *, nullable_values: bool = False, **kwargs: Any) -> None:
        super().__init__(values=Length(allow_none=nullable_values), **_described(kwargs))


class YesNo(fields.Boolean):
    """``true`` or ``false``; in a query also yes and no.

    Args:
        query: Read it from the text of a query.
    """

    def __init__(self, *, query: bool = False, **kwargs: Any) -> None:
        super().__init__(**_described(kwargs))
        self.query = query

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> bool:
        if self.query and isinstance(value, str):
            known = {"true": True, "yes": True, "false": False, "no": False}
            value = known.get(value.lower(), value)
        if not isinstance(value, bool):
            raise ValidationError(sentence("must be true or false"))
        return value


def listed(
    field: fields.Field[Any] | type[Schema], *, most: int, least: int = 0, **kwargs: Any
) -> fields.List[Any]:
    """A list of fields or nested shapes, ``least`` to ``most`` of them."""
    inner = fields.Nested(field) if isinstance(field, type) else field
    return _Listed(inner, least, most, **_described(kwargs, minItems=least, maxItems=most))


class _Listed(fields.List[Any]):
    """A list that counts its entries before it reads them."""

    def __init__(self, inner: fields.Field[Any], least: int, most: int, **kwargs: Any) -> None:
        super().__init__(inner, **kwargs)
        self.least, self.most = least, most

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> list[Any]:
        if isinstance(value, list) and not self.least <= len(value) <= self.most:
            raise ValidationError(
                sentence(
                    "has {value} entries; {least} to {most} are allowed",
                    value=len(value),
                    least=self.least,
                    most=self.most,
                )
            )
        return super()._deserialize(value, attr, data, **kwargs)


def Problems() -> fields.List[Any]:  # noqa: N802 - reads like the fields beside it
    """What a view had to leave out."""
    return fields.List(
        Text(),
        required=True,
        metadata={
            "description": "What could not be worked out and is left out, and what to do; "
            "empty where nothing was."
        },
    )
