"""What a reader wants to see: language, unit of lengths, clock; by cookie, browser, site."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from flask import g, has_request_context, request
from werkzeug.datastructures import LanguageAccept

from api.http.site import this_site
from api.language.catalogue import SOURCE, languages

#: The cookie that keeps a reader's choice, such as ``de.mm.24``.
COOKIE = "crib_shown"

#: How long a browser keeps it [s].
KEPT_S = 400 * 24 * 3600


@dataclass(frozen=True, slots=True)
class Preferences:
    """What one reader wants to see.

    Attributes:
        language: Code of the language.
        unit: Unit of lengths; what is keyed into a control keeps the control's own.
        hours: Hours of the clock, 24 or 12.
    """

    language: str = SOURCE
    unit: Literal["mm", "in"] = "mm"
    hours: Literal[24, 12] = 24

    def as_cookie(self) -> str:
        """The choice as the cookie carries it."""
        return f"{self.language}.{self.unit}.{self.hours}"

    @classmethod
    def from_texts(
        cls, language: str, unit: str, hours: str, default: Preferences
    ) -> Preferences:
        """A choice from typed or stored texts; what is not known stays as by default."""
        return cls(
            language if language in languages() else default.language,
            "in" if unit == "in" else "mm" if unit == "mm" else default.unit,
            12 if hours == "12" else 24 if hours == "24" else default.hours,
        )


def preferences() -> Preferences:
    """What the reader of the present request wants; English, mm and 24 h outside of one."""
    if not has_request_context():
        return Preferences()
    kept: Preferences | None = g.get("crib_preferences")
    if kept is None:
        kept = g.crib_preferences = _asked()
    return kept


def _asked() -> Preferences:
    default = Preferences(_language(request.accept_languages))
    cookie = request.cookies.get(COOKIE, "")
    language, unit, hours, *_rest = (*cookie.split("."), "", "", "")
    return Preferences.from_texts(language, unit, hours, default)


def _language(accepted: LanguageAccept) -> str:
    """The browser's best language that is here, else the site's."""
    known = languages()
    by_tag = {code.lower(): code for code in known}
    for tag, weight in accepted:
        if weight <= 0:
            continue
        plain = tag.lower()
        for wanted in (plain, plain.split("-")[0]):
            if wanted in by_tag:
                return by_tag[wanted]
    return this_site().settings.language
