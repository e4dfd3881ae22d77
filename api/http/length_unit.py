"""Lengths in millimetres or, with ``?length_unit=in``, in inches, named by their unit.

A member's name carries its unit. In inches ``lf_mm`` is therefore called ``lf_in``, in what is
sent and in what is answered, so that no member ever holds another unit than its name says.
"""

from __future__ import annotations

from contextvars import ContextVar
from typing import Any

from crib.errors import Invalid
from crib.sentence import sentence

#: Unit of the lengths of the request that is being answered: ``mm`` or ``in``.
LENGTH_UNIT: ContextVar[str] = ContextVar("length_unit", default="mm")


class Inches(str):
    """A printed length in inches, so that its member can be renamed."""

    __slots__ = ()


class InchNumber(float):
    """A length in inches that is a plain number, to be renamed too."""

    __slots__ = ()


#: What a length may be sent as.
_SENT = (str, int, float, list)

#: No length; larger integers do not fit into a float.
_HUGE = 1e300

#: An empty length in an answer in inches.
NO_INCHES = Inches("")


def name_inches(value: Any) -> Any:
    """Rename every ``*_mm`` that holds inches to ``*_in``, in place of a copy."""
    if isinstance(value, dict):
        return {
            (name[:-3] + "_in" if _holds_inches(name, inner) else name): name_inches(inner)
            for name, inner in value.items()
        }
    if isinstance(value, list):
        return [name_inches(inner) for inner in value]
    if value is NO_INCHES:
        return None
    return float(value) if isinstance(value, InchNumber) else value


def _holds_inches(name: str, value: Any) -> bool:
    if not name.endswith("_mm"):
        return False
    kinds = (Inches, InchNumber)
    if isinstance(value, dict):  # lengths by measure
        value = list(value.values())
    return isinstance(value, kinds) or (
        isinstance(value, list) and bool(value) and all(isinstance(v, kinds) for v in value)
    )


def read_inches(value: Any) -> Any:
    """Mark every ``*_in`` of a body as inches under the name that schemas know, ``*_mm``.

    Raises:
        Invalid: One object holds a length in both units.
    """
    if isinstance(value, list):
        return [read_inches(inner) for inner in value]
    if not isinstance(value, dict):
        return value
    read: dict[str, Any] = {}
    for name, inner in value.items():
        known = name
        if name.endswith("_in") and (inner is None or isinstance(inner, _SENT)):
            known = name[:-3] + "_mm"
            if known in value:
                raise Invalid(
                    sentence(
                        "'{name}' and '{known}' are both given: send one of them.",
                        name=name,
                        known=known,
                    ),
                    errors=[
                        {
                            "field": name,
                            "detail": sentence("is also given as {known}", known=known),
                        }
                    ],
                )
            inner = _mark(inner)
        read[known] = read_inches(inner)
    return read


def _mark(value: Any) -> Any:
    if isinstance(value, str):
        return Inches(value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return InchNumber(value if abs(value) < _HUGE else _HUGE)
    if isinstance(value, list):
        return [_mark(inner) for inner in value]
    return value


def sent_name(body: Any, path: tuple[str | int, ...]) -> tuple[str | int, ...]:
    """The path of an error as it was sent: ``lf_in`` where the schema says ``lf_mm``."""
    sent: list[str | int] = []
    for step in path:
        name = step
        if isinstance(step, str) and isinstance(body, dict) and step not in body:
            inches = step.removesuffix("_mm") + "_in"
            if step.endswith("_mm") and inches in body:
                name = inches
        try:
            body = body[name]
        except (KeyError, IndexError, TypeError):
            body = None
        sent.append(name)
    return tuple(sent)
