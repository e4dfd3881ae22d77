"""The catalogue of one language: a ``.po`` file, read when it is first needed, then kept."""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from babel import Locale
    from babel.messages.catalog import Catalog

#: The language that the sources speak; it needs no file.
SOURCE = "en"

#: Where a language is one file, ``<code>.po``.
FOLDER = Path(__file__).resolve().parent

#: Where a value goes in a text.
HOLE = re.compile(r"\{(\w*)\}")
_CODE = re.compile(r"[a-z]{2,3}(-[A-Z][A-Za-z]+)?", re.ASCII)
_log = logging.getLogger("crib.language")


def holes(text: str) -> list[str]:
    """Names of the values that a text has room for, sorted."""
    return sorted(HOLE.findall(text))


@dataclass(frozen=True, slots=True)
class Catalogue:
    """What one language says for each English text.

    Attributes:
        language: Its code.
        texts: English text to its text.
        plurals: English text for one to the texts of all plural forms.
        form: Which plural form a number takes.
    """

    language: str
    texts: dict[str, str] = field(default_factory=dict)
    plurals: dict[str, tuple[str, ...]] = field(default_factory=dict)
    form: Callable[[int], int] = lambda number: int(number != 1)

    def text(self, english: str) -> str:
        """The text for an English one; the English one where there is none."""
        return self.texts.get(english, english)

    def plural(self, one: str, many: str, number: int) -> str:
        """The text for a number of things."""
        forms = self.plurals.get(one)
        if forms is None:
            return one if number == 1 else many
        return forms[self.form(number)]


@cache
def languages(folder: Path = FOLDER) -> tuple[str, ...]:
    """Codes of the languages that can be chosen: the sources' own and one per file.

    Looked up once: every page asks, and a file that comes later wants a start anyway, as its
    texts do.
    """
    found = {path.stem for path in folder.glob("*.po") if _CODE.fullmatch(path.stem)}
    return (SOURCE, *sorted(found - {SOURCE}))


def read(language: str, folder: Path = FOLDER) -> Catalogue:
    """Read a language's file; an entry that has not the same holes as its English is left out.

    Such an entry would lose a value or break a page; the log names it, English is shown.
    """
    from babel.messages.pofile import read_po

    path = folder / f"{language}.po"
    if not path.is_file():
        return Catalogue(language)
    with path.open("rb") as file:
        found: Catalog = read_po(file, locale=locale_of(language))
    texts: dict[str, str] = {}
    plurals: dict[str, tuple[str, ...]] = {}
    for message in found:
        if not message.id or message.fuzzy:
            continue
        if isinstance(message.id, str):
            said = str(message.string)
            if said and _same_holes(path, message.id, (said,)):
                texts[message.id] = said
        else:
            forms = tuple(str(form) for form in message.string or ())
            if forms and all(forms) and _same_holes(path, message.id[1], forms):
                plurals[message.id[0]] = forms
    chooser = _form_chooser(found.plural_expr)
    return Catalogue(language, texts, plurals, chooser)


def _same_holes(path: Path, english: str, said: tuple[str, ...]) -> bool:
    if all(set(holes(text)) <= set(holes(english)) for text in said):
        return True
    _log.error("%s: the entry for %r has other holes; English is shown.", path, english)
    return False


def _form_chooser(expression: str) -> Callable[[int], int]:
    from gettext import c2py

    chooser: Callable[[int], int] = c2py(expression)
    return chooser


@cache
def catalogue(language: str) -> Catalogue:
    """The catalogue of a language, read once per process."""
    return Catalogue(SOURCE) if language == SOURCE else read(language)


def locale_of(language: str) -> Locale:
    """The locale by which a language writes numbers and dates."""
    from babel import Locale

    # plain "en" puts the month first; a day before its month reads the same everywhere
    return Locale.parse("en-GB" if language == SOURCE else language, sep="-")


@cache
def own_name(language: str) -> str:
    """What a language calls itself, such as Deutsch."""
    name = locale_of(language).language_name or language
    return name[0].upper() + name[1:]
