"""The check of a tool for a station, what to key in, and the mount itself."""

from __future__ import annotations

from datetime import datetime, timedelta

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.pages.acts import Complaint, act, go_to, typed
from api.pages.machine.mis_scan import scans_on
from api.pages.machine.places import act_address, machine_address
from api.pages.machine.station import station_page
from api.pages.machine.words import reasons
from api.pages.render import page
from crib.acts.expected_tool import expected_tool
from crib.acts.mount_ahead import MountAhead, look_at_mount
from crib.acts.mount_tool import MountTool, mount_tool
from crib.acts.named import named_assembly
from crib.codes import strip_address
from crib.errors import AlreadyMounted, DoesNotFit, Invalid, Refusal, StationOccupied
from crib.store.assemblies import assembly_in_station
from crib.store.engine import Tx
from crib.store.mounts import mounted_at_machine
from crib.store.resolve import machine_id_by_name
from crib.store.stations import stations_of
from crib.store.stockrows import holder_row, spec_row

blueprint = Blueprint("machine_mount", __name__)

#: How long after a mount its machine's next one shows the cautions in short: a usual shift
#: (common practice, no source).
A_SHIFT = timedelta(hours=8)

#: Refusals that the check of the mount names by itself.
_BY_CHECK = (AlreadyMounted, DoesNotFit, StationOccupied)


@blueprint.get("/machines/<machine>/mount")
@scans_on
def ask_mount(machine: str) -> Response:
    """What the next scan is for, or yes or no."""
    station, tool = _asked("station"), _asked("tool")
    if station and tool:
        return _verdict(machine, station, tool)
    if station:
        return station_page(station)
    if tool:
        return _tool_alone(machine, tool)
    return go_to(machine_address(machine))


@blueprint.post("/machines/<machine>/mount")
@scans_on
def record_mount(machine: str) -> Response:
    """Record the mount, or show why not with everything kept."""
    given = typed()
    station, tool = given.get("station", ""), given.get("tool", "")

    def mount(tx: Tx, present: datetime, by: str | None) -> str:
        done = mount_tool(
            tx,
            present,
            MountTool(
                station=station,
                assembly=tool,
                part_count=whole_number(given, "part_count"),
                by=by,
            ),
        )
        aside = "aside" if done.part_count_refused else None
        return act_address(machine, f"mounts/{done.fact_id}", count=aside)

    try:
        return act(mount)
    except Refusal as refusal:
        return _verdict(machine, station, tool, refusal, given.get("part_count", ""))


def whole_number(given: dict[str, str], name: str) -> int | None:
    """A count as it was typed; spaces between digits do not matter.

    Raises:
        Invalid: It is no whole number.
    """
    text = given.get(name, "").replace(" ", "").replace("\u202f", "")
    if not text:
        return None
    if not (text.isascii() and text.isdigit()) or len(text) > 15:
        raise Invalid(
            _("Type the counter as it stands there, with digits alone."),
            errors=[{"field": name, "detail": _("digits alone, such as 12480")}],
        )
    return int(text)


def _asked(name: str) -> str:
    return strip_address(request.args.get(name, ""))[:200]


def _verdict(
    machine: str,
    station: str,
    tool: str,
    refusal: Refusal | None = None,
    part_count: str = "",
) -> Response:
    site = this_site()
    complaint = Complaint.of(refusal) if refusal else None
    with site.store.read() as tx:
        ahead = look_at_mount(tx, site.clock(), station, tool)
        inside = assembly_in_station(tx, ahead.station.id)
        since = ahead.at - A_SHIFT
        first_mount = not mounted_at_machine(tx, ahead.station.machine_id, since)
    occupied = any(one.slug == "station-occupied" for one in ahead.problems)
    return page(
        "machine_mount.html",
        complaint.status if complaint else 200,
        wasm=True,
        machine=ahead.station.machine,
        from_machine=machine,
        ahead=ahead,
        tool=tool,
        key_in=ahead.key_in,
        first_mount=first_mount,
        occupied=occupied,
        holds=inside.code if inside else "",
        # what the check says by itself is not said twice
        complaint=None if ahead.problems and isinstance(refusal, _BY_CHECK) else complaint,
        part_count=part_count,
        reasons=reasons(),
        again=_again(ahead, tool),
    )


def _again(ahead: MountAhead, tool: str) -> str:
    return act_address(ahead.station.machine, "mount", station=ahead.station.code, tool=tool)


def _tool_alone(machine: str, tool: str) -> Response:
    site = this_site()
    present = site.clock()
    with site.store.read() as tx:
        named = named_assembly(tx, tool)
        spec = spec_row(tx, named.row.tool_spec_id)
        holder = holder_row(tx, named.row.holder_id)
        rows = stations_of(tx, machine_id_by_name(tx, machine))
        fitting = [
            row
            for row in rows
            if (wanted := expected_tool(tx, row, present, spec.id)).spec
            and wanted.spec.id == spec.id
        ]
    return page(
        "machine_tool.html",
        wasm=True,
        machine=rows[0].machine if rows else machine,
        named=named,
        spec=spec,
        holder=holder,
        fitting=fitting,
        tool=tool,
    )
