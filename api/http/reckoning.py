"""Keeps a calculation within its schema: refuses results that are no number."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeVar

import numpy as np
from marshmallow import Schema, fields

from api.http.length_unit import NO_INCHES
from crib.errors import OutsideModel
from crib.sentence import sentence

T = TypeVar("T")


def reckon(calculation: Callable[[], T]) -> T:
    """Result of a calculation.

    Raises:
        OutsideModel: It divides by zero or overflows.
    """
    try:
        with np.errstate(divide="raise", over="raise", invalid="raise"):
            return calculation()
    except (FloatingPointError, OverflowError, ZeroDivisionError) as fault:
        raise _refusal(sentence("the result is out of range")) from fault


def refuse_lost_numbers(shape: Schema, printed: Any) -> None:
    """Refuse an answer with null where its schema promises a number.

    Raises:
        OutsideModel: A number went beyond what can be written.
    """
    lost = next(_lost(fields.Nested(shape), printed, ""), None)
    if lost is not None:
        raise _refusal(sentence("{lost} cannot be calculated", lost=lost))


def _refusal(what: str) -> OutsideModel:
    return OutsideModel(
        sentence(
            "These figures are too large or too small together: {what}. Check the "
            "sizes and their units.",
            what=what,
        )
    )


def _lost(field: fields.Field[Any], value: Any, name: str) -> Iterator[str]:
    if value is None or value is NO_INCHES:
        if isinstance(field, fields.Float) and not field.allow_none:
            yield name
    elif isinstance(field, fields.List):
        for one in value:
            yield from _lost(field.inner, one, name)
    elif isinstance(field, fields.Nested) and isinstance(value, Mapping):
        for inner, inner_field in field.schema.dump_fields.items():
            if inner in value:
                yield from _lost(inner_field, value[inner], inner)
