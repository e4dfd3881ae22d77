"""Sentences for people: a template in English and its values, kept apart to be translated.

A ``Sentence`` is its English text, so that JSON, the database, logs and tests see plain text.
Beside it stand the template, which a catalogue translates, and the values, which belong to the
shop (its holders, places, notes) and are never looked up. Templates are written out in calls of
``sentence``, where a gettext extractor finds them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any, Self, SupportsIndex

_HOLE = re.compile(r"\{(\w+)\}")


class Figure(str):
    """A number that the code wrote as English writes it; other languages write it their way."""

    __slots__ = ()


class Instant(str):
    """An instant as RFC 3339; a page shows it in the site's time."""

    __slots__ = ()


class Sentence(str):
    """An English text that knows the template and the values it was made of.

    Attributes:
        template: The English text with a ``{name}`` where a value goes.
        values: What goes there: the shop's own texts, numbers, instants, other sentences.
    """

    __slots__ = ("template", "values")

    template: str
    values: Mapping[str, object]

    def __new__(cls, template: str, values: Mapping[str, object]) -> Self:
        """Put the values into the template.

        Raises:
            KeyError: The template has a hole for which there is no value.
        """
        made = super().__new__(cls, filled(template, values))
        made.template = template
        made.values = values
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return Sentence, (self.template, dict(self.values))

    def __reduce_ex__(self, _protocol: SupportsIndex, /) -> tuple[Any, ...]:
        return self.__reduce__()

    def __add__(self, other: str, /) -> Sentence:
        return together("", (self, other))

    def __radd__(self, other: str, /) -> Sentence:
        return together("", (other, self))


def sentence(template: str, /, **values: object) -> Sentence:
    """A text for people.

    Args:
        template: The text in English, written out where it is said, with a ``{name}`` where a
            value goes. Without values braces stay as they are.
        values: What goes into it.

    Examples:
        >>> sentence("Tool {tool} holds {parts} parts.", tool="T01", parts=5)
        'Tool T01 holds 5 parts.'
    """
    return Sentence(template, values)


def word(text: str) -> Sentence:
    """One of the fixed words that facts hold, such as a reason or a kind; it is translated.

    ``api/language/words.py`` lists them for the catalogue. Never for a text that is the shop's.
    """
    return Sentence(text, {})


def figure(number: float, form: str) -> Figure:
    """A number as English writes it by a format such as ``.1f``."""
    return Figure(format(number, form))


def together(joint: str, parts: Iterable[str]) -> Sentence:
    """Several texts as one, each translated for itself.

    Args:
        joint: What stands between them: signs, or a sentence such as ``OR``.
        parts: The texts; a plain one stays as it is.

    Examples:
        >>> together("; ", [sentence("no edge"), sentence("no holder")])
        'no edge; no holder'
    """
    values = {f"part{place}": part for place, part in enumerate(parts)}
    between = "{joint}" if isinstance(joint, Sentence) else joint
    template = between.join(f"{{{name}}}" for name in values)
    return Sentence(template, values | {"joint": joint} if between != joint else values)


def filled(template: str, values: Mapping[str, object]) -> str:
    """A template with its values in it; without values its braces stay."""
    if not values:
        return template
    written, names = _taken_apart(template)
    pieces = [*written]
    pieces[1::2] = [str(values[name]) for name in names]
    return "".join(pieces)


@lru_cache(maxsize=4096)
def _taken_apart(template: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """A template split at its holes, and the names of the holes."""
    pieces = _HOLE.split(template)
    return tuple(pieces), tuple(pieces[1::2])


def as_kept(text: str) -> object:
    """A text as JSON can keep it: template and values of a sentence, a plain text as it is."""
    if not isinstance(text, Sentence):
        return str(text)
    return {
        "template": text.template,
        "values": {name: _kept_value(value) for name, value in text.values.items()},
    }


def _kept_value(value: object) -> object:
    if isinstance(value, Sentence):
        return as_kept(value)
    if isinstance(value, Figure):
        return {"figure": str(value)}
    if isinstance(value, Instant):
        return {"instant": str(value)}
    if isinstance(value, bool | int | float) or value is None:
        return value
    return str(value)


def from_kept(kept: object) -> str:
    """The text that ``as_kept`` made JSON of.

    Raises:
        ValueError: It is nothing that ``as_kept`` makes.
    """
    if isinstance(kept, str):
        return kept
    match kept:
        case {"template": str(template), "values": dict(values)}:
            return Sentence(
                template, {str(name): _value_from_kept(value) for name, value in values.items()}
            )
    raise ValueError(f"no kept sentence: {kept!r}")


def _value_from_kept(kept: object) -> object:
    match kept:
        case {"template": _, "values": _}:
            return from_kept(kept)
        case {"figure": str(text)}:
            return Figure(text)
        case {"instant": str(text)}:
            return Instant(text)
    return kept


#: Joints of ``together``.
AND, OR = sentence(" and "), sentence(" or ")
