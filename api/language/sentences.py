"""Sentences that the domain makes, said in the reader's language.

A sentence knows its template and the values in it (crib/sentence.py). The catalogue has the
template in the reader's language; each value is said by its kind.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from decimal import Decimal

from api.language.catalogue import SOURCE, catalogue
from api.language.formats import in_locale, local_time
from api.language.preferences import preferences
from api.language.texts import keep_percent
from crib.clock import parse_instant
from crib.sentence import Figure, Instant, Sentence, filled, formed


def say(text: object) -> str:
    """A sentence of the domain in the reader's language, its instants in the site's time.

    Where the catalogue has no entry it stays in English. A plain text is the shop's own and
    stays as it is.
    """
    return _said(preferences().language, text, local_time)


def in_language(language: str, text: str, local: Callable[[datetime], str]) -> str:
    """A sentence as paper has it, in the language of the shop.

    Args:
        language: Code of the language.
        text: The sentence.
        local: How an instant is written.
    """
    return _said(language, text, local)


def in_english(text: str, local: Callable[[datetime], str]) -> str:
    """A sentence as the command line has it.

    Args:
        text: The sentence.
        local: How an instant is written.
    """
    return _said(SOURCE, text, local)


def _said(language: str, text: object, local: Callable[[datetime], str]) -> str:
    if not isinstance(text, Sentence):
        return str(text)
    template = keep_percent(catalogue(language).text(text.template))
    said = {name: _of_value(language, value, local) for name, value in text.values.items()}
    return formed(filled(template, said), text.form)


def _of_value(language: str, value: object, local: Callable[[datetime], str]) -> str:
    """A value by its kind."""
    if isinstance(value, Instant):
        return local(parse_instant(value))
    if isinstance(value, Figure | float | Decimal):
        text = str(value)
        return keep_percent(text) if language == SOURCE else in_locale(text, language)
    return _said(language, value, local)
