"""Read a designation as typed, or refuse it with its position and the nearest reading."""

from __future__ import annotations

import re

from crib.designation.holder import (
    BoringBar,
    TurningHolder,
    parse_any_holder,
)
from crib.designation.insert import Insert, parse_insert
from crib.designation.material import Application, parse_material
from crib.designation.nearest import read_or_refuse
from crib.designation.scanning import Unreadable, plain_text
from crib.designation.usual import oddness
from crib.sentence import sentence


def read_insert(text: str) -> Insert:
    """Read an insert (ISO 1832 or the inch form), such as CCMT09T304, CNMG432-M, CCMT3(2.5)1.

    Raises:
        BadDesignation: A position that is in no table (see ``nearest.read_or_refuse``).
    """
    kind = sentence("designation of an insert (ISO 1832)")
    return read_or_refuse(_open(text), parse_insert, kind, oddness, Insert.corner_span)


def _open(text: str) -> str:
    """The text without the brackets that set off a number with a point: CCMT 3(2.5)1."""
    return re.sub(r"\(\s*([0-9]+(?:\.[0-9])?)\s*\)", r"\1", text)


def read_any_holder(text: str) -> TurningHolder | BoringBar:
    """Read a square-shank holder or a boring bar, whichever the text is.

    Raises:
        BadDesignation: Neither; the message follows the standard that explains more of it.
    """
    kind = sentence("designation of a holder (ISO 5608) or boring bar (ISO 6261)")
    return read_or_refuse(text, parse_any_holder, kind, oddness)


def read_material(text: str) -> Application:
    """Read a group (ISO 513) such as P, an application such as P20, or HC-P20.

    Raises:
        BadDesignation: As for ``read_insert``.
    """
    return read_or_refuse(text, parse_material, sentence("material group (ISO 513)"), oddness)


def insert_or_none(text: str) -> Insert | None:
    """Read an insert where the text is one: a shop may name an item in its own words."""
    try:
        return parse_insert(plain_text(_open(text)))
    except Unreadable:
        return None


def holder_or_none(text: str) -> TurningHolder | BoringBar | None:
    """Read a holder or bar where the text is one."""
    try:
        return parse_any_holder(plain_text(text))
    except Unreadable:
        return None
