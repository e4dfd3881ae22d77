"""Texts of pages in the reader's language: ``_``, ``_n`` and ``mark``."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from api.language.catalogue import catalogue
from api.language.preferences import preferences

_HOLE = re.compile(r"\{([A-Za-z_]\w*)\}")


def keep_percent(text: str) -> str:
    """A text whose numbers stay on one line with their per cent sign."""
    return text.replace(" %", "\u00a0%")


def fill(text: str, values: dict[str, object]) -> str:
    """A text with its values in it.

    A plain text stays plain, and a template escapes it as a whole. Where a value is markup (a
    link), the text and the other values are escaped here, and the whole is markup.
    """
    text = keep_percent(text)
    if not values:
        return text
    if any(hasattr(value, "__html__") for value in values.values()):
        filled = _HOLE.sub(lambda hole: str(escape(values[hole[1]])), str(escape(text)))
        return Markup(filled)  # noqa: S704 - the text and every value were just escaped
    return _HOLE.sub(lambda hole: str(values[hole[1]]), text)


def _(english: str, /, **values: object) -> str:
    """A text in the reader's language, its values filled in.

    Args:
        english: The text as it is in English, with a ``{name}`` where a value goes. It is
            written out where it is used, so that it can be found.
        values: What goes into it.
    """
    return fill(catalogue(preferences().language).text(english), values)


def _n(one: str, many: str, number: int, /, **values: object) -> str:
    """A text that speaks of a number of things; ``{number}`` is the number.

    Args:
        one: The English text for one thing.
        many: The English text for another number of things.
        number: How many there are.
        values: What else goes into it.
    """
    from api.language.formats import number as written

    text = catalogue(preferences().language).plural(one, many, number)
    return fill(text, {"number": written(number), **values})


def mark(english: str) -> str:
    """The same text: tells the extractor that ``_`` will be asked for it later."""
    return english
