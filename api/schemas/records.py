"""Shapes of the records, made from the catalogue's columns: one description, no second one."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cache
from typing import Any

from marshmallow import ValidationError, fields, pre_load

from api.schemas.fields import (
    At,
    Choice,
    Day,
    ExactLength,
    Number,
    Problems,
    Shape,
    Text,
    Whole,
    YesNo,
    listed,
    text_of_number,
    within,
)
from api.schemas.query import PlainQuery
from crib.errors import Invalid
from crib.left_out import NOT_A_RECORDS, worked_out
from crib.records.catalogue import BY_NAME
from crib.records.columns import LONGEST_LINES, Column, Record
from crib.records.plain_text import unseen
from crib.records.values import print_cell, read_cell
from crib.sentence import sentence
from crib.store.record_rows import OWNED
from crib.store.sound_rows import not_read

MOST_OWNED = 2_000

#: Members that a record is given out with and that nobody sends: ignored where they come back.
GIVEN_OUT = ("id", "code", "version", "retired_at", "on_hand")


class Cell(Text):
    """A value written as in a shop file: a day, a time of day, an amount, a filter's value.

    Args:
        column: What the cell may hold.
    """

    def __init__(self, column: Column, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.column = column

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        text = super()._deserialize(value, attr, data, **kwargs)
        try:
            return read_cell(self.column, text)
        except Invalid as refusal:
            raise ValidationError(f"'{text[:40]}' " + refusal.sentence) from refusal

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> str | None:
        return None if value is None else print_cell(self.column, value)


class Amount(Cell):
    """Money: text with two decimals, ``"12.50"``; a JSON number of so many is taken too."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            value = text_of_number(value, 2)
        return super()._deserialize(value, attr, data, **kwargs)


class Filter(Cell):
    """A filter's value; an empty one asks for records where nothing is given."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        return None if value == "" else super()._deserialize(value, attr, data, **kwargs)


class DayText(Cell, Day):
    """A calendar day."""

    def _serialize(self, value: Any, attr: Any, obj: Any, **kwargs: Any) -> str | None:
        return value.isoformat() if isinstance(value, date) else value


def field_of(column: Column, **kwargs: Any) -> fields.Field[Any]:  # noqa: C901 - one per kind
    """The field of a column, with its bounds and its explanation."""
    kwargs.setdefault("explains", _explains(column))
    kwargs.setdefault("allow_none", not column.required)
    least, most = column.minimum, column.maximum
    if column.many:
        return listed(Text(), most=100, least=1 if column.required else 0, **kwargs)
    match column.kind:
        case "lines":
            return Template(longest=LONGEST_LINES, **kwargs)
        case "choice":
            return Choice(column.choices, **kwargs)
        case "integer":
            return Whole(least=int(least or 0), most=int(most or 2**31 - 1), **kwargs)
        case "number":
            return Number(**within(column, **kwargs))
        case "length":
            return ExactLength(**within(column, **kwargs))
        case "money":
            return Amount(column, **kwargs)
        case "yes_no":
            return YesNo(**kwargs)
        case "instant":
            return At(**kwargs)
        case "date":
            return DayText(column, metadata={"format": "date"}, **kwargs)
        case "time":
            return Cell(column, metadata={"pattern": "^[0-9]{1,2}:[0-9]{2}$"}, **kwargs)
        case "local":
            return Cell(column, metadata={"examples": ["2026-12-24T14:00"]}, **kwargs)
        case _:
            return Text(**kwargs)


def _explains(column: Column) -> str:
    told = [column.explains] if column.explains else []
    if column.reference:
        told.append(f"names a {BY_NAME[column.reference].noun}")
    if column.zero:
        told.append(f"{column.bounds}")
    if column.kind == "money":
        told.append(f"amount {column.bounds}")
    if column.default is not None:
        told.append(f"left out: {print_cell(column, column.default)}")
    return "; ".join(told)


def camel(noun: str) -> str:
    """``tool-life row`` as a schema's name, ``ToolLifeRow``."""
    return "".join(word.capitalize() for word in noun.replace("-", " ").split())


class Template(Text):
    """Text of several lines."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError(sentence("must be text in quotes"))
        wrong = unseen(value.replace("\r\n", " ").replace("\n", " "))
        if wrong is not None:
            raise ValidationError(wrong)
        if len(value) > LONGEST_LINES:
            raise ValidationError(
                sentence(
                    "is longer than {longest_lines} characters", longest_lines=LONGEST_LINES
                )
            )
        return value


class _Input(Shape):
    """What is sent; what is only given out is ignored, so that a read can be sent back."""

    @pre_load
    def _drop_given_out(self, data: Any, **kwargs: Any) -> Any:
        if not isinstance(data, dict):
            return data
        return {name: value for name, value in data.items() if name not in GIVEN_OUT}


def _members(record: Record) -> dict[str, Any]:
    """Fields of a record's columns and of the set that it owns."""
    members: dict[str, Any] = {
        column.name: field_of(column, required=column.required) for column in record.columns
    }
    if record.name in OWNED:
        name = OWNED[record.name][0]
        members[name] = listed(_owned_shape(record.name), most=MOST_OWNED)
    return members


@cache
def _owned_shape(owner: str) -> type[Shape]:
    """One row of the set that a record owns."""
    owned = OWNED[owner][1]
    rows = {
        column.name: field_of(column, required=column.required)
        for column in owned.columns
        if column.name not in (BY_NAME[owner].key[0], "time_zone")
    }
    return type(camel(owned.noun), (Shape,), rows)


def input_shape(record: Record) -> type[Shape]:
    """What creates or replaces a record."""
    return type(f"{camel(record.noun)}Input", (_Input,), _members(record))


def output_shape(record: Record) -> type[Shape]:
    """A record as it is given out."""
    given: dict[str, Any] = {"id": Whole(required=True)}
    if record.code_kind:
        given["code"] = Text(required=True, explains="Code on its label.")
    given["version"] = Whole(required=True, explains="Counts changes; also in the ETag.")
    given["retired_at"] = At(allow_none=True)
    if record.name == "lots":
        given["on_hand"] = Whole(explains="What is left on the shelf.")
    return type(camel(record.noun), (Shape,), given | _members(record))


class PageQuery(PlainQuery):
    """What every list takes."""

    limit = Whole(least=1, most=1_000, query=True, load_default=100, explains="Rows per page.")
    after = Whole(
        query=True, load_default=0, most=2**53, explains="``next`` of the page before."
    )


def filter_shape(record: Record) -> type[Shape]:
    """Query of a list: each column filters, an empty value asks for an empty one."""
    filters: dict[str, Any] = {
        column.name: Filter(column, least=0, explains="Only those that have this value.")
        for column in record.columns
    }
    if record.code_kind:
        filters["code"] = Text(explains="Only the one with this code.")
    retired = Choice(("no", "yes"), load_default="no", explains="yes: list retired ones too.")
    members = filters | {"retired": retired}
    return type(f"{camel(record.noun)}Query", (PageQuery,), members)


def page_shape(item: type[Shape], name: str = "", number: str = "id") -> type[Shape]:
    """A page of a list.

    Args:
        item: One row.
        name: The list as in the address, where a row that cannot be printed is left out.
        number: Member that holds a row's number.
    """
    members: dict[str, Any] = {
        "items": fields.List(fields.Nested(item), required=True),
        "next": Whole(
            allow_none=True,
            most=2**53,
            required=True,
            explains="``after`` of the next page",
        ),
    }
    if not name:
        return type(f"{item.__name__}Page", (Shape,), members)
    members |= {"problems": Problems(), "name": name, "number": number, "item": item}
    return type(f"{item.__name__}Page", (_SoundPage,), members)


class _SoundPage(Shape):
    """A page whose rows are printed one by one where they cannot be printed together."""

    name = number = ""
    item: type[Shape]

    def dump(self, obj: Any, *, many: bool | None = None) -> Any:
        try:
            return super().dump(obj, many=many)
        except NOT_A_RECORDS:
            raise
        except Exception:
            item = self.item()
            member = item.fields[self.number].attribute or self.number
            told = worked_out(
                obj["items"],
                lambda row: {"row": row, "printed": item.dump(row)},
                lambda row: not_read(self.name, _value(row, member)),
            )
            if not told.problems:
                raise
            sound = [one["row"] for one in told]
            whole = obj | {"items": sound, "problems": [*obj["problems"], *told.problems]}
            return super().dump(whole, many=many)


def _value(row: Any, name: str) -> Any:
    return row[name] if isinstance(row, Mapping) else getattr(row, name)
