"""Sentences that the domain makes, said in the reader's language.

The domain speaks English with values inside. The catalogue holds what such a sentence was made
from; here the values are taken out, said in their turn where they are words, and put into the
translation.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from functools import cache, lru_cache

from api.language.catalogue import SOURCE, catalogue
from api.language.formats import in_locale, local_time
from api.language.patterns import Hole, Patterns
from api.language.preferences import preferences
from crib.clock import parse_instant
from crib.sentence import Figure, Instant, Kept, Sentence, filled, formed, taken_apart

_INSTANT = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:\d\d)")
#: An example of how to write an instant, or a typed one: it stays as it is.
_AS_WRITTEN = re.compile(rf"(?:\blike |'){_INSTANT.pattern}")
_NEXT_SENTENCE = re.compile(r"(?<=[.?!]) (?=[A-Z0-9'])")
_JOINTS = ((_NEXT_SENTENCE, " "), (re.compile("; "), "; "), (re.compile(", "), ", "))
_COLON = (re.compile(": "), ": ")
_LISTED = re.compile(r"\S+(?:, \S+)* (or|and) \S+")
_FIELD_SAYS = re.compile(r"([a-z][a-z0-9_]*(?:[.\[]\w+\]?)*|[A-Z]{1,2}) (\S+ .+)", re.DOTALL)
_DECIMAL = re.compile(r"[+-]?\d+\.\d+")
_WITH_UNIT = re.compile(r"[±+-]?\d+(?:\.\d+)? ?(%|mm|in|µm|min|s|h|N m|m/min|°)")
_UNIT_AFTER = re.compile(
    r" ?(%|mm\b|in\b|µm\b|min\b|s\b|h\b|N m\b|m/min\b|°|degrees\b|times\b|standard deviations\b"
    r"|of the promised life\b|of its life\b|(was|being) the age\b)"
)
_DEEPEST = 5


def say(text: object) -> str:
    """A sentence of the domain in the reader's language, its instants in the site's time.

    Where the catalogue has no entry it stays in English.
    """
    language, english = preferences().language, str(text)
    if isinstance(text, Sentence):
        return _of_sentence(language, text, local_time)
    return at_the_site(_in_words(language, english), local_time, english)


def _of_sentence(language: str, whole: Sentence, local: Callable[[datetime], str]) -> str:
    """A sentence by its template, its values each by their kind."""
    text = catalogue(language).text(whole.template)
    if not whole.values:
        return formed(text, whole.form)
    pieces, names = taken_apart(whole.template)
    said = {
        name: _of_value(language, Hole(name, str(value), before, after), value, local)
        for name, before, after in zip(names, pieces[:-1:2], pieces[2::2], strict=True)
        for value in (whole.values[name],)
    }
    return formed(filled(text, said), whole.form)


def _of_value(
    language: str, hole: Hole, value: object, local: Callable[[datetime], str]
) -> str:
    """A value by its kind; a plain text is the shop's own and stays as it is."""
    if isinstance(value, Sentence):
        return _of_sentence(language, value, local)
    if isinstance(value, Kept):
        return at_the_site(_in_words(language, value), local, value)
    if isinstance(value, Instant):
        return local(parse_instant(value))
    if language != SOURCE and (isinstance(value, Figure | float | Decimal) or _counts(hole)):
        return in_locale(hole.value, language)
    return hole.value


def _counts(hole: Hole) -> bool:
    """Whether a text is a decimal number with a unit behind it in the sentence."""
    return bool(_DECIMAL.fullmatch(hole.value)) and bool(
        _UNIT_AFTER.match(hole.after) or hole.before.rstrip().endswith("±")
    )


def _in_words(language: str, text: str) -> str:
    return text if language == SOURCE else _said(language, str(text))


def at_the_site(
    text: str, local: Callable[[datetime], str], as_written: str | None = None
) -> str:
    """A sentence with its instants as people at the site read them.

    Args:
        text: The sentence.
        local: How an instant is written.
        as_written: The sentence in English: examples of instants in it stay as they are.
    """
    kept = "".join(_AS_WRITTEN.findall(text if as_written is None else as_written))
    return _INSTANT.sub(
        lambda found: found[0] if found[0] in kept else local(parse_instant(found[0])), text
    )


@cache
def _patterns(language: str) -> Patterns:
    known = catalogue(language)
    return Patterns.of(text for text in known.texts if text in known.of_domain)


@lru_cache(maxsize=8192)
def _said(language: str, sentence: str) -> str:
    return _known(language, sentence, 0) or sentence


def _known(language: str, text: str, depth: int) -> str | None:
    """A text said in a language; None where the catalogue knows nothing of it."""
    bare = text.strip().lstrip(" ;,:")
    if depth > _DEEPEST or not bare:
        return None
    said = (
        _whole(language, bare, depth)
        or _begun_large(language, bare, depth)
        or _without_stop(language, bare, depth)
        or _with_stop(language, bare, depth)
        or _of_field(language, bare, depth)
    )
    for at, joint in (*_JOINTS, _COLON):
        said = said or _pieces(language, bare, depth, at, joint)
    return None if said is None else text.replace(bare, said, 1)


def _begun_large(language: str, text: str, depth: int) -> str | None:
    """A text that became a sentence by its first letter alone."""
    if not text[0].isupper():
        return None
    said = _whole(language, text[0].lower() + text[1:], depth)
    return None if said is None else said[0].upper() + said[1:]


def _whole(language: str, text: str, depth: int) -> str | None:
    texts = catalogue(language).texts
    if text in texts:
        return texts[text]
    for template, holes in _patterns(language).find(text):
        if any(
            hole.before and hole.after and _NEXT_SENTENCE.search(hole.value) for hole in holes
        ):
            continue  # it swallowed the end of one sentence and the begin of another
        values = {hole.name: _value(language, hole, depth) for hole in holes}
        return filled(texts[template], values)
    return None


def _of_field(language: str, text: str, depth: int) -> str | None:
    """What is said of a field whose name stands in front."""
    found = _FIELD_SAYS.fullmatch(text)
    said = found and (
        _whole(language, found[2], depth + 1) or _with_stop(language, found[2], depth + 1)
    )
    return f"{found[1]} {said}" if found and said else None


def _value(language: str, hole: Hole, depth: int) -> str:
    value = hole.value
    if hole.before.endswith("'") and hole.after.startswith("'"):
        return value  # what somebody typed
    if _WITH_UNIT.fullmatch(value) or _counts(hole):
        return in_locale(value, language)
    if _LISTED.fullmatch(value):
        texts = catalogue(language).texts
        return re.sub(r" (or|and) ", lambda found: f" {texts.get(found[1], found[1])} ", value)
    return _known(language, value, depth + 1) or value


def _pieces(
    language: str, text: str, depth: int, at: re.Pattern[str], joint: str
) -> str | None:
    pieces = at.split(text)
    if len(pieces) == 1:
        return None
    said = [_known(language, piece, depth + 1) for piece in pieces]
    if not any(
        new and (" " in piece or depth) for new, piece in zip(said, pieces, strict=True)
    ):
        return None  # a lone word that has an entry makes no sentence German
    return joint.join(new or old for new, old in zip(said, pieces, strict=True))


def _without_stop(language: str, text: str, depth: int) -> str | None:
    if not text.endswith("."):
        return None
    said = _known(language, text[:-1], depth + 1)
    return None if said is None else f"{said}."


def _with_stop(language: str, text: str, depth: int) -> str | None:
    """A sentence that lost its full stop within another one."""
    said = None if text.endswith(".") else _whole(language, f"{text}.", depth + 1)
    return None if said is None else said.removesuffix(".")
