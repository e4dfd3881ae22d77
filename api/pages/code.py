"""The page that a label opens: what the code is, what it holds, what may be done next."""

from __future__ import annotations

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _, mark
from api.pages.act_pages import page_of
from api.pages.render import page
from api.pages.undo import offer_of
from crib.floor.cautions import axis_cautions, mount_cautions
from crib.metrology.offset import x_on_diameter
from crib.views.scan_code import scan_code

blueprint = Blueprint("code", __name__)

#: What an act is called on the page.
ACTS = {
    "build": mark("Build a tool with it"),
    "preset": mark("Measure it on the gauge"),
    "mount": mark("Mount it in a station"),
    "remove": mark("Take it out and say why"),
    "correct": mark("Enter an offset step"),
    "print-label": mark("Print its label"),
    "tear-down": mark("Take it apart"),
    "check-gauge": mark("Check it on the setting master"),
    "move-stock": mark("Book stock in or out"),
}


@blueprint.get("/c/<path:text>")  # typed by hand; symbols carry capitals
@blueprint.get("/C/<path:text>")
def code_page(text: str) -> Response:
    """What a code is, in plain words."""
    site = this_site()
    present = site.clock()
    with site.store.read() as tx:
        found = scan_code(tx, present, text)
    holds = found.station.holds if found.station else None
    built = found.holder.built_as if found.holder else None
    tool = found.tool or holds or built
    cautions: tuple[str, ...] = ()
    if tool is not None:
        unit = tool.offsets[0].unit if tool.offsets else "mm"
        cautions = mount_cautions(axis_cautions(x_on_diameter(tool.offsets), unit))
    return page(
        "code.html",
        found=found,
        tool=tool,
        cautions=cautions,
        acts=[
            (act, _(ACTS.get(act.slug, act.slug)), page_of(act, found)) for act in found.acts
        ],
        undo=offer_of(request.args.get("apart", "")),
        zone=site.in_zone.time_zone.key,
    )
