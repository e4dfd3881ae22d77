"""Sentences for people: a template in English and its values, kept apart to be translated.

A ``Sentence`` is its English text, so that JSON, the database, logs and tests see plain text.
Beside it stand the template, which a catalogue translates, and the values, which belong to the
shop (its holders, places, notes) and are never looked up. Templates are written out in calls of
``sentence``, where a gettext extractor finds them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any, Self, SupportsIndex

#: Forms of a sentence within another one: without its full stop; with a capital.
CLAUSE, BEGUN = "clause", "begun"

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
        form: How it stands within another one: ``CLAUSE``, ``BEGUN`` or as it is.
    """

    __slots__ = ("form", "template", "values")

    template: str
    values: Mapping[str, object]
    form: str

    def __new__(cls, template: str, values: Mapping[str, object], form: str = "") -> Self:
        """Put the values into the template.

        Raises:
            KeyError: The template has a hole for which there is no value.
        """
        made = super().__new__(cls, formed(filled(template, values), form))
        made.template = template
        made.values = values
        made.form = form
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return Sentence, (self.template, dict(self.values), self.form)

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
    """A number as English writes it by a format such as ``.1f``.

    A space stands before a per cent sign, as the SI Brochure asks for.

    Examples:
        >>> figure(0.82, ".0%")
        '82 %'
    """
    text = format(number, form)
    return Figure(f"{text[:-1]} %" if form.endswith("%") else text)


def clause(text: str) -> Sentence:
    """A sentence as part of another one: without its full stop.

    Examples:
        >>> clause(sentence("No edge."))
        'No edge'
    """
    return _formed(text, CLAUSE)


def begun(text: str) -> Sentence:
    """A text as the begin of a sentence: with a capital.

    Examples:
        >>> begun(sentence("no edge"))
        'No edge'
    """
    return _formed(text, BEGUN)


def _formed(text: str, form: str) -> Sentence:
    if isinstance(text, Sentence) and not text.form:
        return Sentence(text.template, text.values, form)
    return Sentence("{part0}", {"part0": text}, form)


def formed(text: str, form: str) -> str:
    """A text as it stands within another one."""
    if form == CLAUSE:
        return text.rstrip(".")
    if form == BEGUN:
        return text[:1].upper() + text[1:]
    return text


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
    written, names = taken_apart(template)
    pieces = [*written]
    pieces[1::2] = [str(values[name]) for name in names]
    return "".join(pieces)


@lru_cache(maxsize=4096)
def taken_apart(template: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """A template as texts and hole names in turn, and the names by themselves."""
    pieces = _HOLE.split(template)
    return tuple(pieces), tuple(pieces[1::2])


def as_kept(text: str) -> object:
    """A text as JSON can keep it: template and values of a sentence, a plain text as it is."""
    if not isinstance(text, Sentence):
        return str(text)
    kept: dict[str, object] = {
        "template": text.template,
        "values": {name: _kept_value(value) for name, value in text.values.items()},
    }
    return kept | {"form": text.form} if text.form else kept


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
        case {"template": str(template), "values": dict(values), **more}:
            return Sentence(
                template,
                {str(name): _value_from_kept(value) for name, value in values.items()},
                str(more.get("form", "")),
            )
    raise ValueError(f"no kept sentence: {kept!r}")


def kept_beside(text: str | None) -> str | None:
    """The JSON that is kept beside a sentence's text; None of a plain text."""
    return json.dumps(as_kept(text)) if isinstance(text, Sentence) else None


def restored_sentence(text: str, beside: str | None) -> str:
    """The sentence of a text and of what was kept beside it.

    It is the plain text where no template is kept, or one that does not give the same text.
    """
    if beside is None:
        return text
    try:
        whole = from_kept(json.loads(beside))
    except (TypeError, ValueError, KeyError):
        return text
    return whole if whole == text else text


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
