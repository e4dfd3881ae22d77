"""What a form on a page does: once, from our own pages, all of it or nothing."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

import orjson
from flask import Response, request

from api.http.site import this_site
from api.pages.here import by_now
from api.problems import row_of
from crib.errors import Invalid, KeyReused, Refusal
from crib.records.plain_text import unseen
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.idempotency import KeptAnswer, keep_answer, kept_answer

#: Hidden field of every form: a form that is sent twice acts once.
KEY_FIELD = "act_key"


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a refusal says on a page.

    Attributes:
        status: Status of the page that shows it.
        sentence: What is wrong and what to do.
        wrong: The same by field of the form.
    """

    status: int = 200
    sentence: str = ""
    wrong: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, refusal: Refusal) -> Complaint:
        """The complaint of a refusal."""
        wrong = {
            error["field"]: error["detail"] for error in refusal.errors if "field" in error
        }
        return cls(row_of(type(refusal)).status, refusal.sentence, wrong)


def fresh_key() -> str:
    """A key for one form."""
    return secrets.token_urlsafe(16)


def typed() -> dict[str, str]:
    """What was typed into the form, trimmed; fields left empty are left out."""
    found = {name: text.strip() for name, text in request.form.items()}
    return {name: text for name, text in found.items() if text}


def act(work: Callable[[Tx, datetime, str | None], str]) -> Response:
    """Do what a form asks for, in one transaction, and go to the page that shows it.

    Args:
        work: ``work(tx, present, by)``; answers the local address to go to.

    Returns:
        A 303, the same one when the same form comes again.

    Raises:
        Refusal: The use case said no; nothing was recorded.
        KeyReused: The form came before with other entries.
    """
    _refuse_unseen()
    site = this_site()
    key = request.form.get(KEY_FIELD, "")[:100]
    route = f"POST {request.path}"
    by = by_now()  # before the write begins: it reads by itself
    with site.store.write() as tx:
        kept = kept_answer(tx, f"form-{key}") if key else None
        if kept is not None:
            if (kept.route, kept.body_hash) != (route, _entries_hash()):
                raise KeyReused(
                    sentence(
                        "This form was sent before with other entries. Reload the page, then "
                        "fill it in."
                    ),
                    facts={"key": key},
                )
            return go_to(kept.headers["Location"])
        present = site.clock()
        address = work(tx, present, by)
        if key:
            answer = KeptAnswer(route, _entries_hash(), 303, b"", {"Location": address})
            keep_answer(tx, f"form-{key}", answer, present)
    return go_to(address)


def _refuse_unseen() -> None:
    wrong = {name: unseen(text.strip()) for name, text in request.form.items(multi=True)}
    found = [{"field": name[:60], "detail": what} for name, what in wrong.items() if what]
    if found:
        raise Invalid(
            sentence("Your entry {detail}. Nothing was recorded.", detail=found[0]["detail"]),
            errors=found[:20],
        )


def go_to(address: str) -> Response:
    """Go to a page of ours by GET."""
    return Response(status=303, headers={"Location": address})


def _entries_hash() -> str:
    entries = sorted((name, text) for name, text in request.form.items(multi=True))
    return hashlib.blake2b(orjson.dumps(entries), digest_size=20).hexdigest()
