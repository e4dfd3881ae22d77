"""The page on which an act after a scan is done, where a page does it."""

from __future__ import annotations

from urllib.parse import quote, urlencode

from api.pages.machine.places import act_address
from crib.views.scan_shapes import Act, Scan, ToolShown


def page_of(act: Act, found: Scan) -> str | None:
    """The address of the page for an act; None where only programs do it.

    Args:
        act: What may be done next.
        found: What was scanned.
    """
    tool = found.tool or (found.holder.built_as if found.holder else None)
    if found.station is not None:
        return _at_station(act, found.station.machine, found.station.code)
    if act.slug == "mount" and tool is not None:
        return f"/machines?{urlencode({'tool': tool.code})}"
    return _at_bench(act, found, tool) or _of_mounted(act, tool)


def _at_bench(act: Act, found: Scan, tool: ToolShown | None) -> str | None:
    if act.slug == "build":
        return f"/bench/build?{urlencode(act.body)}"
    if act.slug == "check-gauge" and found.gauge is not None:
        return f"/bench/gauges/{quote(found.gauge.gauge, safe='')}"
    if tool is None:
        return None
    pages = {"preset": "work", "tear-down": "take-apart"}
    if tool.station is None:  # a mounted tool's label is printed without the bench's work
        pages["print-label"] = "work"
    return f"/bench/{pages[act.slug]}/{quote(tool.code)}" if act.slug in pages else None


def _of_mounted(act: Act, tool: ToolShown | None) -> str | None:
    if tool is None or tool.station is None or tool.station_code is None:
        return None
    return _at_station(act, tool.station.partition("/")[0], tool.station_code)


def _at_station(act: Act, machine: str, station: str) -> str | None:
    if act.slug in ("mount", "remove", "correct"):
        return act_address(machine, act.slug, station=station)
    return None
