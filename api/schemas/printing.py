"""How an object becomes the members of an answer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from marshmallow import missing

from crib.store.field_types import wrong_type

#: Name of a member, the attribute that it comes from, and what prints that.
Printer = tuple[str, str, Callable[[Any, str, Any], Any]]


def print_object(printers: Iterable[Printer], obj: Any) -> dict[str, Any]:
    """The members of an answer.

    Args:
        printers: One a member.
        obj: What is printed: a mapping, or anything with attributes.

    Raises:
        Damaged: Text stands where a number belongs.
    """
    found: dict[str, Any] = {}
    by_key = isinstance(obj, Mapping)
    for name, attribute, printed in printers:
        value = obj.get(attribute, missing) if by_key else getattr(obj, attribute, missing)
        if value is missing:
            continue
        try:
            found[name] = printed(value, name, obj)
        except (TypeError, ValueError) as problem:
            if isinstance(value, str):  # only a row can hold that
                raise wrong_type(name, value) from problem
            raise
    return found
