"""Sentences that the domain makes, said in the reader's language.

A sentence knows its template and the values in it (crib/sentence.py). The catalogue has the
template in the reader's language; each value is said by its kind.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal

from api.language.catalogue import SOURCE, catalogue
from api.language.formats import in_locale, local_time
from api.language.preferences import preferences
from crib.clock import parse_instant
from crib.sentence import Figure, Instant, Sentence, filled, formed, taken_apart

_DECIMAL = re.compile(r"[+-]?\d+\.\d+")
_UNIT_AFTER = re.compile(
    r" ?(%|mm\b|in\b|µm\b|min\b|s\b|h\b|N m\b|m/min\b|°|degrees\b|times\b|standard deviations\b"
    r"|of the promised life\b|of its life\b|(was|being) the age\b)"
)


def say(text: object) -> str:
    """A sentence of the domain in the reader's language, its instants in the site's time.

    Where the catalogue has no entry it stays in English. A plain text is the shop's own and
    stays as it is.
    """
    return _said(preferences().language, text, local_time)


def in_english(text: str, local: Callable[[datetime], str]) -> str:
    """A sentence as paper and the command line have it.

    Args:
        text: The sentence.
        local: How an instant is written.
    """
    return _said(SOURCE, text, local)


def _said(language: str, text: object, local: Callable[[datetime], str]) -> str:
    if not isinstance(text, Sentence):
        return str(text)
    template = catalogue(language).text(text.template)
    if not text.values:
        return formed(template, text.form)
    pieces, names = taken_apart(text.template)
    said = {
        name: _of_value(language, text.values[name], (before, after), local)
        for name, before, after in zip(names, pieces[:-1:2], pieces[2::2], strict=True)
    }
    return formed(filled(template, said), text.form)


def _of_value(
    language: str, value: object, around: tuple[str, str], local: Callable[[datetime], str]
) -> str:
    """A value by its kind; ``around`` is what stands before and after it in the template."""
    if isinstance(value, Instant):
        return local(parse_instant(value))
    number = isinstance(value, Figure | float | Decimal)
    if language != SOURCE and (number or _counts(value, *around)):
        return in_locale(str(value), language)
    return _said(language, value, local)


def _counts(value: object, before: str, after: str) -> bool:
    """Whether a text is a decimal number with a unit behind it in the sentence."""
    return bool(_DECIMAL.fullmatch(str(value))) and bool(
        _UNIT_AFTER.match(after) or before.rstrip().endswith("±")
    )
