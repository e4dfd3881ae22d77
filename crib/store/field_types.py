"""What kind of value a field of a row may hold, and what a damaged row holds instead."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime
from functools import cache
from itertools import chain
from types import UnionType
from typing import Any, Final, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from crib.errors import Damaged
from crib.sentence import sentence

#: Types that SQLite and our own column types return for each type of a field.
_HELD: Final[Mapping[Any, tuple[type, ...]]] = {
    int: (int,),
    float: (float, int),
    bool: (int,),
    str: (str,),
    datetime: (datetime,),
    date: (date,),
    Mapping: (Mapping,),
}

_Filled = TypeVar("_Filled")


def wrong_type(field: str, value: object) -> Damaged:
    """The refusal of a value that cannot be what its field is for."""
    return Damaged(
        sentence(
            "This record holds {value} as {field}, which cannot be right. Run crib check: it "
            "names what is damaged.",
            value=str(value)[:60],
            field=field,
        )
    )


def unreadable_value() -> Damaged:
    """The refusal of a value that is not what its column keeps, such as no JSON."""
    return Damaged(
        sentence(
            "A value of this record cannot be read. Run crib check: it names what is damaged."
        )
    )


def refuse_other_types(made: object) -> None:
    """Raise where a field holds what its type rules out, such as text where a number belongs.

    Args:
        made: A named tuple or dataclass.

    Raises:
        Damaged: It does. Whether there is a value at all is not looked at.
    """
    for field, types in types_by_field(cast(Hashable, type(made))):
        value = getattr(made, field)
        if types and value is not None and not isinstance(value, types):
            raise wrong_type(field, value)


def without_other_types(row: _Filled) -> _Filled:
    """The same row with None for each value that its field's type rules out."""
    wrong = [
        field
        for field, types in types_by_field(cast(Hashable, type(row)))
        if types and not isinstance(value := getattr(row, field), types) and value is not None
    ]
    if not wrong:
        return row
    held: Any = row
    emptied: dict[str, Any] = dict.fromkeys(wrong)
    return cast(
        _Filled, replace(held, **emptied) if is_dataclass(row) else held._replace(**emptied)
    )


@cache
def types_by_field(kind: Any) -> tuple[tuple[str, tuple[type, ...]], ...]:
    """Every field with the types that its values may have; none where any may come."""
    names = tuple(one.name for one in fields(kind)) if is_dataclass(kind) else kind._fields
    hints = get_type_hints(kind)
    return tuple((name, _types_of(hints[name])) for name in names)


def _types_of(hint: Any) -> tuple[type, ...]:
    parts = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
    bare = [getattr(one, "__supertype__", one) for one in parts if one is not type(None)]
    held = [_HELD.get(get_origin(one) or one, ()) for one in bare]
    return tuple(chain.from_iterable(held)) if all(held) else ()
