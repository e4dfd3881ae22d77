"""Who stands at this screen: a badge is scanned once, and every act carries the name."""

from __future__ import annotations

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, go_to
from api.pages.here import COOKIE, local_address
from api.pages.render import page
from crib.codes import strip_address
from crib.errors import Refusal
from crib.records.catalogue import PEOPLE
from crib.store.records import list_records
from crib.store.resolve import resolve_person

blueprint = Blueprint("who", __name__)

_DAY_S = 24 * 3600


@blueprint.get("/who")
def who_page() -> Response:
    """Who are you?"""
    return _form(request.args.get("back"))


@blueprint.post("/who")
def say_who() -> Response:
    """Remember who stands here for a day, or forget them."""
    back = local_address(request.form.get("back"))
    code = strip_address(request.form.get("person", ""))
    response = go_to(back)
    if not code:
        response.delete_cookie(COOKIE)
        return response
    try:
        with this_site().store.read() as tx:
            person = resolve_person(tx, code)
    except Refusal as refusal:
        return _form(back, Complaint.of(refusal), code)
    response.set_cookie(
        COOKIE, str(person.code), max_age=_DAY_S, httponly=True, samesite="Strict", path="/"
    )
    return response


def _form(back: str | None, complaint: Complaint | None = None, text: str = "") -> Response:
    with this_site().store.read() as tx:
        people = list_records(tx, PEOPLE)
    return page(
        "who.html",
        complaint.status if complaint else 200,
        wasm=True,
        back=local_address(back),
        complaint=complaint,
        text=text,
        people=people,
    )
