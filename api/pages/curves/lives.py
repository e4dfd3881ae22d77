"""All tool keys: lives seen, what runs, where they swap today, which forecasts ran wrong."""

from __future__ import annotations

from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.render import page
from crib.views.key_uses import list_keys

blueprint = Blueprint("lives", __name__)


def life_address(key: str) -> str:
    """The page of a key."""
    return f"/lives/{quote(key, safe='/~')}"


@blueprint.record
def _add(state: object) -> None:
    state.app.jinja_env.globals["life_address"] = life_address  # type: ignore[attr-defined]


@blueprint.get("/lives")
def list_lives() -> Response:
    """Every key, or those of a machine or a spec."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    machine = request.args.get("machine", "").strip()[:100]
    spec = request.args.get("spec", "").strip()[:100]
    every = list_keys(plan)
    found = list_keys(plan, machine, spec) if machine or spec else every
    return page(
        "lives.html",
        keys=found,
        problems=found.problems,
        machine=machine,
        spec=spec,
        machines=sorted({one for key in every for one in key.use.machines}),
        specs=sorted({one for key in every for one in key.use.specs}),
    )
