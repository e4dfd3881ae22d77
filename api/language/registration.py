"""Gives templates their functions and every page its Content-Language."""

from __future__ import annotations

from flask import Flask, Response

from api.language import formats, when
from api.language.preferences import preferences
from api.language.sentences import say
from api.language.texts import _, _n
from crib.planning.night_words import percent
from crib.sentence import word


def register(app: Flask) -> None:
    """Let the templates of an app speak the reader's language."""
    app.jinja_env.globals.update(
        {
            "_": _,
            "_n": _n,
            "say": say,
            "word": word,
            "preferences": preferences,
            "local_clock": formats.local_clock,
            "local_day": formats.local_day,
            "local_time": formats.local_time,
            "site_zone": formats.site_zone,
            "number": formats.number,
            "percent": lambda share: say(percent(share)),
            "length": formats.length,
            "nominal_length": formats.nominal_length,
            "small_length": formats.small_length,
            "when": when.when,
            "how_long": when.how_long,
            "clock_of": when.clock_of,
            "span": when.span,
        }
    )
    app.after_request(_tell_language)


def _tell_language(response: Response) -> Response:
    if response.mimetype == "text/html":
        response.content_language.add(preferences().language)
        response.vary.update(("Accept-Language", "Cookie"))
    return response
