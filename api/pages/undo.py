"""One touch that undoes what a touch just recorded, on the page that confirms it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import wraps

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import act, go_to
from api.pages.here import by_now
from api.pages.render import page
from crib.acts.undo import MOST_FACTS, Undo, can_undo, undo, undone
from crib.errors import NotKnown, Refusal
from crib.store.engine import Tx

blueprint = Blueprint("undo", __name__)


def undo_offer(fact_ids: Sequence[int]) -> str | None:
    """What the form that undoes facts carries; None where they cannot be undone here."""
    site, by = this_site(), by_now()
    with site.store.read() as tx:
        possible = can_undo(tx, site.clock(), Undo(fact_ids, by))
    return ",".join(map(str, fact_ids)) if possible else None


def offer_of(text: str) -> str | None:
    """The same for facts that an address names; None where it names none."""
    try:
        return undo_offer(_numbers(text)) if text else None
    except NotKnown:
        return None


def leads_to_undone(view: Callable[..., Response]) -> Callable[..., Response]:
    """Redirect to the undone page if the facts of a confirming page were undone."""

    @wraps(view)
    def answered(**path: str | int) -> Response:
        try:
            return view(**path)
        except NotKnown:
            text = str(path.get("fact", path.get("facts")))
            try:
                with this_site().store.read() as tx:
                    undone(tx, _numbers(text))
            except Refusal:
                pass
            else:
                return go_to(f"/undone/{text}")
            raise

    return answered


@blueprint.post("/undo")
def undo_touch() -> Response:
    """Undo it, once however often it is touched."""
    text = request.form.get("facts", "")

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        numbers = _numbers(text)
        undo(tx, present, Undo(numbers, by))
        return f"/undone/{','.join(map(str, numbers))}"

    return act(work)


@blueprint.get("/undone/<facts>")
def show_undone(facts: str) -> Response:
    """What was undone, and what to do instead."""
    with this_site().store.read() as tx:
        found = undone(tx, _numbers(facts))
    return page("undone.html", one=found[0])


def _numbers(text: str) -> list[int]:
    """The facts that an address or a form names; none where it names something else."""
    numbers = text.split(",")[: MOST_FACTS + 1]
    if not all(one.isascii() and one.isdigit() and len(one) < 16 for one in numbers):
        return []
    return [int(one) for one in numbers]
