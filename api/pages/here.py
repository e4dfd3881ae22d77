"""Who stands at this screen, as its browser remembers it, and which way back is one of ours."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

from flask import g, request

from api.http.site import this_site
from crib.errors import Refusal
from crib.records.catalogue import PEOPLE
from crib.store.records import get_record
from crib.store.resolve import resolve_person

COOKIE = "crib_by"


@dataclass(frozen=True, slots=True)
class Person:
    """A person at a screen; the role is attendant, operator or supervisor."""

    code: str
    badge: str
    name: str
    role: str


def by_now() -> str | None:
    """Code of the person who said that they stand here; None where nobody did."""
    person = person_here()
    return person.code if person else None


def person_here() -> Person | None:
    """The person who said that they stand here; None for one not known any more."""
    if "person_here" not in g:
        g.person_here = _look_up(request.cookies.get(COOKIE, ""))
    found: Person | None = g.person_here
    return found


def _look_up(code: str) -> Person | None:
    if not code:
        return None
    try:
        with this_site().store.read() as tx:
            row = get_record(tx, PEOPLE, resolve_person(tx, code).id)
    except Refusal:
        return None  # a badge given back since: nobody stands here
    return Person(row["code"], row["badge"], row["name"], row["role"])


def local_address(text: str | None, otherwise: str = "/") -> str:
    """An address on this very service, for going back to; else ``otherwise``."""
    parts = urlsplit(text or "")
    ours = not parts.scheme and not parts.netloc and parts.path.startswith("/")
    if not ours or parts.path.startswith("//") or "\\" in parts.path:
        return otherwise
    return parts.path + (f"?{parts.query}" if parts.query else "")
