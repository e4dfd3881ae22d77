"""How a reader wants to see pages: language, unit of lengths and clock, kept in a cookie."""

from __future__ import annotations

from flask import Blueprint, Response, request

from api.language.catalogue import languages, own_name
from api.language.preferences import COOKIE, KEPT_S, Preferences, preferences
from api.pages.here import local_address
from api.pages.render import page

blueprint = Blueprint("shown", __name__)


@blueprint.get("/shown")
def shown_page() -> Response:
    """The form."""
    return page(
        "shown.html",
        back=local_address(request.args.get("back")),
        languages=[(code, own_name(code)) for code in languages()],
    )


@blueprint.post("/shown")
def keep_shown() -> Response:
    """Keep the choice in this browser and go back to where the reader came from."""
    given = request.form
    chosen = Preferences.from_texts(
        given.get("language", ""), given.get("unit", ""), given.get("hours", ""), preferences()
    )
    response = Response(status=303, headers={"Location": local_address(given.get("back"))})
    response.set_cookie(
        COOKIE, chosen.as_cookie(), max_age=KEPT_S, httponly=True, samesite="Lax", path="/"
    )
    return response
