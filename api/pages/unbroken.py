"""Names on narrow pages: a line ends at a space of a name, never at a hyphen in it."""

from __future__ import annotations

from flask import Flask
from markupsafe import Markup, escape

#: A word that is longer may not fit into a phone's line, so it may break [characters].
_LONGEST = 24


def register(app: Flask) -> None:
    """Give templates the filter ``unbroken``."""
    app.jinja_env.filters["unbroken"] = unbroken


def unbroken(name: str) -> Markup:
    """A name whose words with a hyphen stay whole.

    Examples:
        >>> unbroken("OD 12-D")
        Markup('OD <span class="unbroken">12-D</span>')
    """
    return Markup(" ").join(map(_word, name.split(" ")))


def _word(word: str) -> Markup:
    if "-" not in word or len(word) > _LONGEST:
        return escape(word)
    return Markup('<span class="unbroken">{}</span>').format(word)
