"""Search from every page: a whole code leads to its page, anything else to what fits it."""

from __future__ import annotations

from urllib.parse import quote, urlencode

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import mark
from api.pages.machine.places import machine_address, station_address
from api.pages.render import page
from crib.codes import looks_like_code, strip_address
from crib.errors import NotKnown
from crib.store.engine import Tx
from crib.store.name_rows import NameRow
from crib.store.resolve import resolve
from crib.views.find_names import find_names

blueprint = Blueprint("find", __name__)

#: What things of a kind are called.
KINDS = {
    "machine": mark("Machines"),
    "station": mark("Stations"),
    "tool": mark("Tools"),
    "tool_spec": mark("Tool specs"),
    "holder": mark("Holders"),
    "lot": mark("Lots"),
    "part": mark("Parts"),
    "gauge": mark("Gauges"),
    "person": mark("People"),
}
_LONGEST = 200


@blueprint.get("/find")
def find_page() -> Response:
    """What fits the words of the field in the header."""
    text = strip_address(request.args.get("q", ""))[:_LONGEST].strip()
    with this_site().store.read() as tx:
        if text and names_one(tx, text):
            return led_to(f"/C/{quote(text, safe='/')}")
        hits = find_names(tx, text)
    return page("find.html", text=text, hits=hits, kinds=KINDS, address_of=address_of)


@blueprint.get("/C")
def find_code() -> Response:
    """A typed or scanned code leads to its page; any other text is looked for."""
    text = strip_address(request.args.get("code", ""))
    with this_site().store.read() as tx:
        whole = not text or names_one(tx, text)
    return led_to(
        f"/C/{quote(text, safe='/')}" if text and whole else f"/find?{urlencode({'q': text})}"
    )


def names_one(tx: Tx, text: str) -> bool:
    """Whether a text is a code, mistyped or not, or somebody's or something's own mark."""
    if looks_like_code(text):
        return True
    try:
        resolve(tx, text)
    except NotKnown:
        return False
    return True


def led_to(address: str) -> Response:
    """An answer that leads to an address of this service."""
    return Response(status=303, headers={"Location": address})


def address_of(kind: str, row: NameRow) -> str | None:
    """The page of something that was found; None where it has none."""
    if kind == "machine":
        return machine_address(row.name)
    if kind == "station" and row.code and row.place:
        return station_address(row.place, row.code)
    if kind == "tool_spec":
        return f"/lives?{urlencode({'spec': row.name})}"
    if kind == "part":
        return machine_address(row.place) if row.place else None
    return f"/C/{row.code}"
