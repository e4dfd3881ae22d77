"""Finds the texts for people: those given to ``_``, ``_n``, ``mark`` and ``sentence``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

#: The functions that take a text, and which of their arguments are texts.
KEYWORDS = {"_": None, "_n": (1, 2), "mark": None, "sentence": None}

_SOURCES = (
    ("jinja2.ext:babel_extract", "api", "*.html"),
    ("python", "api", "*.py"),
    ("python", "crib", "*.py"),
    ("python", "labels", "*.py"),
)

Text = str | tuple[str, str]


def page_texts(root: Path) -> dict[Text, list[str]]:
    """Every such text under a folder, with the files that hold it; (one, many) for numbers."""
    found: dict[Text, list[str]] = {}
    for method, package, pattern in _SOURCES:
        for path in sorted((root / package).rglob(pattern)):
            place = path.relative_to(root).as_posix()
            if package != "api" and "sentence(" not in path.read_text(encoding="utf-8"):
                continue
            for text in _texts_in(path, method):
                places = found.setdefault(text, [])
                if place not in places:
                    places.append(place)
    return found


def _texts_in(path: Path, method: str) -> Iterator[Text]:
    from babel.messages.extract import extract

    options = {"silent": "false"}  # a template that cannot be read is an error
    with path.open("rb") as file:
        for _line, text, _comments, _context in extract(method, file, KEYWORDS, (), options):
            yield text if isinstance(text, str) else (text[0], text[1])
