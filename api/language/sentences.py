"""Sentences that the domain makes, said in the reader's language.

The domain speaks English with values inside. The catalogue holds what such a sentence was made
from; here the values are taken out, said in their turn where they are words, and put into the
translation.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache

from api.language.catalogue import SOURCE, catalogue
from api.language.formats import in_locale, local_time
from api.language.patterns import Hole, Patterns
from api.language.preferences import preferences
from crib.clock import parse_instant

#: An instant among the words; an example of how to write one, or a typed text, stays as it is.
_INSTANT = re.compile(
    r"(?<!like )(?<!')\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:\d\d)\b"
)
_NEXT_SENTENCE = re.compile(r"(?<=[.?!]) (?=[A-Z0-9'])")
_DECIMAL = re.compile(r"[+-]?\d+\.\d+")
_WITH_UNIT = re.compile(r"[±+-]?\d+\.\d+ ?(%|mm|µm|min|s|h|N m|m/min|°)")
_UNIT_AFTER = re.compile(
    r" ?(%|mm\b|µm\b|min\b|s\b|h\b|N m\b|m/min\b|°|degrees\b|times\b|standard deviations\b"
    r"|of the promised life\b|(was|being) the age\b)"
)
_DEEPEST = 5


def say(sentence: object) -> str:
    """A sentence of the domain in the reader's language, its instants in the site's time.

    Where the catalogue has no entry it stays in English.
    """
    language = preferences().language
    said = str(sentence) if language == SOURCE else _said(language, str(sentence))
    return _INSTANT.sub(lambda found: local_time(parse_instant(found.group())), said)


@cache
def _patterns(language: str) -> Patterns:
    return Patterns.of(catalogue(language).texts)


@lru_cache(maxsize=8192)
def _said(language: str, sentence: str) -> str:
    return _known(language, sentence, 0) or sentence


def _known(language: str, text: str, depth: int) -> str | None:
    """A text said in a language; None where the catalogue knows nothing of it."""
    bare = text.strip()
    if depth > _DEEPEST or not bare:
        return None
    said = (
        _whole(language, bare, depth)
        or _pieces(language, bare, depth, _NEXT_SENTENCE, " ")
        or _without_stop(language, bare, depth)
        or _pieces(language, bare, depth, re.compile("; "), "; ")
        or _pieces(language, bare, depth, re.compile(", "), ", ")
        or _pieces(language, bare, depth, re.compile(": "), ": ")
    )
    return None if said is None else text.replace(bare, said, 1)


def _whole(language: str, text: str, depth: int) -> str | None:
    texts = catalogue(language).texts
    if text in texts:
        return texts[text]
    found = _patterns(language).find(text)
    if found is None:
        return None
    template, holes = found
    return texts[template].format(
        *(_value(language, hole, depth) for hole in holes if hole.name.isdigit()),
        **{
            hole.name: _value(language, hole, depth)
            for hole in holes
            if not hole.name.isdigit()
        },
    )


def _value(language: str, hole: Hole, depth: int) -> str:
    value = hole.value
    if hole.before.endswith("'") and hole.after.startswith("'"):
        return value  # what somebody typed
    if _WITH_UNIT.fullmatch(value) or (
        _DECIMAL.fullmatch(value) and (_UNIT_AFTER.match(hole.after) or hole.before[-1:] == "±")
    ):
        return in_locale(value, language)
    return _known(language, value, depth + 1) or value


def _pieces(
    language: str, text: str, depth: int, at: re.Pattern[str], joint: str
) -> str | None:
    pieces = at.split(text)
    if len(pieces) == 1:
        return None
    said = [_known(language, piece, depth + 1) for piece in pieces]
    if not any(said):
        return None
    return joint.join(new or old for new, old in zip(said, pieces, strict=True))


def _without_stop(language: str, text: str, depth: int) -> str | None:
    if not text.endswith("."):
        return None
    said = _known(language, text[:-1], depth + 1)
    return None if said is None else f"{said}."
