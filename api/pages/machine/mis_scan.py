"""A scan at a machine that leads nowhere: what was chosen stays chosen, ready for the next."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from flask import Response, request

from api.http.site import this_site
from api.pages.render import page
from api.problems import row_of
from crib.acts.named import NamedAssembly, named_assembly
from crib.codes import strip_address
from crib.errors import Refusal
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name, resolve_station
from crib.store.stations import StationRow, station_row


def scans_on(view: Callable[..., Response]) -> Callable[..., Response]:
    """Tell a refusal of a machine's page with what was chosen before, and a field for a scan.

    Where there is no such machine, nothing was chosen: then the page of any problem comes.
    """

    @wraps(view)
    def answered(machine: str, **path: str | int) -> Response:
        try:
            return view(machine=machine, **path)
        except Refusal as refusal:
            return _scan_again(machine, str(path.get("code", "")), refusal)

    return answered


def _scan_again(machine: str, in_path: str, refusal: Refusal) -> Response:
    with this_site().store.read() as tx:
        machine_id_by_name(tx, machine)
        station = _station(tx, in_path or _asked("station"))
        tool = _tool(tx, _asked("tool"))
    row = row_of(type(refusal))
    return page(
        "machine_mis_scan.html",
        row.status,
        wasm=True,
        machine=station.machine if station else machine,
        station=station,
        tool=tool,
        tool_text=_asked("tool") if tool else "",
        row=row,
        sentence=refusal.sentence,
    )


def _asked(name: str) -> str:
    return strip_address(request.values.get(name, ""))[:200]


def _station(tx: Tx, text: str) -> StationRow | None:
    try:
        return station_row(tx, resolve_station(tx, text).id) if text else None
    except Refusal:
        return None  # this is what could not be read: it is said, and nothing is chosen by it


def _tool(tx: Tx, text: str) -> NamedAssembly | None:
    try:
        return named_assembly(tx, text) if text else None
    except Refusal:
        return None  # as above
