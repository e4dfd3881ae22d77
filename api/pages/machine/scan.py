"""The next scan at a machine: a station or a tool, in either order, leads to the next page."""

from __future__ import annotations

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.pages.acts import go_to
from api.pages.machine.mis_scan import scans_on
from api.pages.machine.places import act_address, station_address
from crib.acts.named import named_assembly
from crib.codes import strip_address
from crib.errors import Invalid
from crib.store.assemblies import assembly_in_station
from crib.store.engine import Tx
from crib.store.mounts import mount_row
from crib.store.resolve import resolve, resolve_station
from crib.store.stations import station_row

blueprint = Blueprint("machine_scan", __name__)


@blueprint.get("/machines/<machine>/scan")
@scans_on
def read_scan(machine: str) -> Response:
    """Where a scan leads, with what was scanned before it."""
    code, station, tool = (
        strip_address(request.args.get(name, ""))[:200] for name in ("code", "station", "tool")
    )
    if not code:  # what was chosen stays chosen
        return go_to(act_address(machine, "mount", station=station, tool=tool))
    with this_site().store.read() as tx:
        return go_to(where_next(tx, machine, code, station=station, tool=tool))


def where_next(tx: Tx, machine: str, code: str, *, station: str, tool: str) -> str:
    """The address of the page after a scan.

    Args:
        tx: An open transaction.
        machine: The machine whose page is open.
        code: What was scanned.
        station: The station that was scanned before, if any.
        tool: The tool that was scanned before, if any.

    Raises:
        NotKnown: Nothing here carries the code.
        Invalid: It is neither a station nor a tool.
    """
    kind = resolve(tx, code).kind
    if kind == "S":
        return _after_station(tx, code, tool)
    if kind in ("A", "H"):
        return _after_tool(tx, machine, code, station)
    raise Invalid(
        _(
            "{code} is neither a station nor a tool: scan a station's plate or a tool's label.",
            code=code,
        )
    )


def _after_station(tx: Tx, code: str, tool: str) -> str:
    row = station_row(tx, resolve_station(tx, code).id)
    if tool:
        return act_address(row.machine, "mount", station=row.code, tool=tool)
    if assembly_in_station(tx, row.id):
        return station_address(row.machine, row.code)
    return act_address(row.machine, "mount", station=row.code)


def _after_tool(tx: Tx, machine: str, code: str, station: str) -> str:
    named = named_assembly(tx, code)
    if station:
        row = station_row(tx, resolve_station(tx, station).id)
        return act_address(row.machine, "mount", station=row.code, tool=code)
    stay = mount_row(tx, named.row.mount_id) if named.row.mount_id else None
    if stay is not None and named.superseded_code is None:
        row = station_row(tx, stay.station_id)
        return station_address(row.machine, row.code)
    return act_address(machine, "mount", tool=code)
