"""What a browser keeps for a dead spot: verdicts ahead, the site's clock, the page's worker."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, get_template_attribute, render_template, request

from api.http.etag import body_tag, is_unchanged
from api.http.json_body import dump_json
from api.http.site import this_site
from api.language import say
from api.language.formats import local_time
from api.pages.machine.correct import increment_text
from crib.acts.mount_ahead import MountAhead
from crib.metrology.offset import AxisOffset
from crib.stock.assembly import STAYS_BUILT
from crib.store.facts import last_fact_id
from crib.views.known_at_machine import (
    KnownAtMachine,
    KnownStation,
    KnownTool,
    known_at_machine,
)

blueprint = Blueprint("machine_known", __name__)

_STATIC = Path(__file__).parents[2] / "static"

#: What the machine pages load; the reader of symbols is kept once it was used.
_KEPT_PATTERNS = ("crib.css", "machine*.css", "*.js")


@blueprint.get("/machines/<machine>/known.json")
def known(machine: str) -> Response:
    """What is known at a machine now."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    with site.store.read() as tx:
        found = known_at_machine(tx, plan, machine)
        recorded = last_fact_id(tx)
    body = {
        "machine": found.machine,
        "known_at": plan.shop.now,
        "known_at_told": local_time(plan.shop.now),
        "recorded": recorded,
        "stays_built": sorted(STAYS_BUILT),
        "stations": [_station(one, found) for one in found.stations],
        "tools": [_tool(one) for one in found.tools],
    }
    response = Response(dump_json(body), content_type="application/json")
    tag = body_tag(dump_json({**body, "known_at": None, "known_at_told": None}))
    response.set_etag(tag, weak=True)
    if is_unchanged(request, tag):
        response.status_code = 304
        response.set_data(b"")
    return response


@blueprint.get("/machines/clock.json")
def clock() -> Response:
    """The site's clock: browsers date what they keep by it, whatever their own says.

    ``speed`` is how many of its seconds pass in one; only the demonstration's is not 1.
    """
    site = this_site()
    body = {"now": site.clock(), "speed": getattr(site.clock, "speed", 1.0)}
    response = Response(dump_json(body), content_type="application/json")
    response.headers["Cache-Control"] = "no-store"
    return response


@blueprint.get("/sw.js")
def worker() -> Response:
    """The worker that serves the machine pages in a dead spot; from the root for its scope."""
    files = sorted({file for like in _KEPT_PATTERNS for file in _STATIC.glob(like)})
    files = [file for file in files if file.name != "sw.js"]
    text = (_STATIC / "sw.js").read_text()
    whole = hashlib.blake2b(digest_size=8)
    for file in (*files, _STATIC / "sw.js"):
        whole.update(file.read_bytes())
    given = {
        "version": whole.hexdigest(),
        "files": [f"/static/{file.name}" for file in files],
    }
    head = f"const GIVEN = {dump_json(given).decode()};\n"
    return Response(head + text, content_type="text/javascript; charset=utf-8")


def _station(one: KnownStation, found: KnownAtMachine) -> dict[str, Any]:
    row, stay = one.row, one.stay
    return {
        "code": row.code,
        "mark": row.mark,
        "tool_number": row.tool_number,
        "specs": one.specs,
        "holds": stay.assembly.code if stay else None,
        "holds_spec": next(
            (
                tool.tool_spec
                for tool in found.tools
                if stay and tool.code == stay.assembly.code
            ),
            None,
        ),
        "since": stay.at if stay else None,
        "unit": row.offset_unit,
        "increment": increment_text(row),
        "axes": [_axis(axis) for axis in stay.offsets] if stay else [],
    }


def _axis(offset: AxisOffset) -> dict[str, Any]:
    counted = get_template_attribute("machine_words.html", "counted")
    return {"axis": offset.axis, "now": offset.text, "counted": str(counted(offset))}


def _tool(one: KnownTool) -> dict[str, Any]:
    return {
        "code": one.code,
        "void_codes": one.void_codes,
        "spec": one.tool_spec,
        "holder": one.holder.mark,
        "holder_code": one.holder.code,
        "station": one.station,
        "looks": {code: _look(ahead) for code, ahead in one.looks.items()},
    }


def _look(ahead: MountAhead) -> dict[str, Any]:
    against = [{"slug": one.slug, "told": say(one.sentence)} for one in ahead.problems]
    # what is cured by taking out what sits there does not keep the figures back
    cured = all(one.slug in ("station-occupied", "mounted-elsewhere") for one in ahead.problems)
    shown = (
        render_template(
            "machine_key_in.html",
            key_in=ahead.key_in,
            code=ahead.assembly.code,
            not_compared=ahead.not_compared,
        )
        if cured and ahead.key_in is not None
        else ""
    )
    void_after = ahead.preset.void_after if ahead.preset else None
    axes = [_axis(one) for one in ahead.key_in.offsets] if ahead.key_in else []
    return {"against": against, "key_in": shown, "axes": axes, "void_after": void_after}
