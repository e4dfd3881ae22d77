"""Shapes of answers, made from the dataclasses that use cases return.

The dataclass is the one description: types give the fields, ``Attributes`` of its docstring
their explanations, and a name that ends in ``_tenths_um`` goes out as an exact length in
``_mm``.
"""

from __future__ import annotations

import re
import types
import typing
from collections.abc import Mapping, Sequence
from dataclasses import fields as dataclass_fields
from datetime import date, datetime
from functools import cache
from typing import Any

from marshmallow import fields

from api.schemas.fields import (
    At,
    Day,
    ExactLength,
    Length,
    LengthsByMeasure,
    Number,
    Shape,
    Text,
    Whole,
    YesNo,
)
from api.schemas.metrology import OutlierShape
from api.schemas.mounts import DatumShape, OffsetShape
from crib.acts.station_datum import AxisDatum
from crib.metrology.offset import AxisOffset
from crib.metrology.outliers import Outlier

_ATTRIBUTE = re.compile(r"^ {4,12}(\w+): (.+)$")


def shape_from(
    kind: type,
    name: str,
    *,
    rename: Mapping[str, str] | None = None,
    leave_out: Sequence[str] = (),
    more: Mapping[str, fields.Field[Any]] | None = None,
) -> type[Shape]:
    """A shape that prints a dataclass.

    Args:
        kind: The dataclass.
        name: Name of the shape in the documentation.
        rename: Attribute -> member, where they differ.
        leave_out: Attributes that are left out.
        more: Further members.
    """
    hints = typing.get_type_hints(kind)
    explained = _explanations(kind.__doc__ or "")
    members: dict[str, Any] = {"__doc__": (kind.__doc__ or name).splitlines()[0]}
    for one in dataclass_fields(kind):
        if one.name in leave_out:
            continue
        told = one.name.removesuffix("_tenths_um") + (
            "_mm" if one.name.endswith("_tenths_um") else ""
        )
        member = (rename or {}).get(one.name, told)
        members[member] = _field(
            hints[one.name],
            length=one.name.endswith("_tenths_um"),
            attribute=one.name,
            explains=explained.get(one.name),
        )
    return type(name, (Shape,), members | dict(more or {}))


def _explanations(docstring: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for line in docstring.splitlines():
        match = _ATTRIBUTE.match(line)
        if match:
            found[match[1]] = match[2].replace("``", "").replace(" [0.1 µm]", "")
    return found


def _field(hint: Any, *, length: bool, **kwargs: Any) -> fields.Field[Any]:
    optional, kind = _without_none(hint)
    kwargs |= {"allow_none": optional, "required": not optional}
    if length:
        return ExactLength(**kwargs)
    if kind is float and str(kwargs.get("attribute")).endswith("_mm"):
        return Length(**kwargs)
    origin = typing.get_origin(kind)
    if origin is typing.Literal:
        return Text(**kwargs)
    if origin is not None and issubclass(origin, Mapping):
        if str(kwargs.get("attribute")).endswith("_mm"):
            inner_optional, _ = _without_none(typing.get_args(kind)[1])
            return LengthsByMeasure(**kwargs | {"nullable_values": inner_optional})
        return _plain(fields.Dict, kwargs, values=_mapping_values(kind))
    if origin is not None and issubclass(origin, Sequence):
        inner = _field(typing.get_args(kind)[0], length=False)
        return _plain(fields.List, kwargs, inner)
    simple = _simple(kind, kwargs)
    return simple or _plain(fields.Nested, kwargs, _nested(kind))


def _simple(kind: Any, kwargs: dict[str, Any]) -> fields.Field[Any] | None:
    match kind:
        case _ if kind is bool:
            return YesNo(**kwargs)
        case _ if kind is int or getattr(kind, "__supertype__", None) is int:
            return Whole(least=-(2**53), most=2**53, **kwargs)
        case _ if kind is float:
            return Number(**kwargs)
        case _ if kind is str:
            return Text(least=0, longest=100_000, bounds=False, **kwargs)
        case _ if kind is datetime:
            return At(**kwargs)
        case _ if kind is date:
            return Day(**kwargs)
        case _ if kind in (Any, object):
            return _plain(fields.Raw, kwargs)
    return None


def _without_none(hint: Any) -> tuple[bool, Any]:
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        kinds = [kind for kind in typing.get_args(hint) if kind is not types.NoneType]
        optional = len(kinds) < len(typing.get_args(hint))
        return optional, kinds[0] if len(kinds) == 1 else Any
    return False, hint


def _mapping_values(kind: Any) -> fields.Field[Any] | None:
    values = typing.get_args(kind)[1]
    return None if values in (Any, object) else _field(values, length=False)


def _plain(kind: Any, kwargs: dict[str, Any], *args: Any, **more: Any) -> fields.Field[Any]:
    given = dict(kwargs)
    explains = given.pop("explains", None)
    metadata = {"description": explains} if explains else {}
    found: fields.Field[Any] = kind(*args, **given, **more, metadata=metadata)
    return found


#: Dataclasses that have a shape of their own.
_OWN_SHAPES: dict[type, type[Shape]] = {
    AxisOffset: OffsetShape,
    AxisDatum: DatumShape,
    Outlier: OutlierShape,
}


@cache
def _nested(kind: type) -> type[Shape]:
    if kind in _OWN_SHAPES:
        return _OWN_SHAPES[kind]
    return shape_from(kind, f"{kind.__name__}Part")
