"""Names on narrow pages: a line never ends at a hyphen in a name, nor before its number."""

from __future__ import annotations

import re
from typing import Final

from flask import Flask
from markupsafe import Markup, escape

#: A word that is longer may not fit into a phone's line, so it may break [characters].
_LONGEST = 24

_BEFORE_NUMBER: Final = re.compile(r"(?<!\S)([^\W\d_]+) (?=[0-9]+(?![\w-]))")


def register(app: Flask) -> None:
    """Give templates the filter ``unbroken``."""
    app.jinja_env.filters["unbroken"] = unbroken


def unbroken(name: str) -> Markup:
    r"""A name whose words with a hyphen stay whole, with each number beside the word before it.

    Examples:
        >>> unbroken("OD 12-D")
        Markup('OD <span class="unbroken">12-D</span>')
        >>> unbroken("rack of L1, place 10")
        Markup('rack of L1, place\xa010')
    """
    return Markup(" ").join(
        map(_word, _BEFORE_NUMBER.sub("\\1\N{NO-BREAK SPACE}", name).split(" "))
    )


def _word(word: str) -> Markup:
    if "-" not in word or len(word) > _LONGEST:
        return escape(word)
    return Markup('<span class="unbroken">{}</span>').format(word)
