"""Tools in the open format: MTConnect cutting tool assets, for agents and machines to read."""

from __future__ import annotations

from datetime import datetime
from xml.etree.ElementTree import Element, SubElement, tostring

from flask import Response
from flask_smorest import Blueprint

from api.http.operation import Call, reads
from api.http.query import PlainQuery
from api.schemas.fields import Choice, Whole
from crib.clock import instant_from_us, print_instant
from crib.store.facts import first_recorded_us
from crib.units import mm_from_tenths_um
from crib.usecases.tool_assets import (
    LifeCounted,
    MeasureShown,
    ToolAsset,
    count_living,
    tool_asset,
    tool_assets,
)

blueprint = Blueprint("mtconnect", __name__, description="Tools in the open format.")

XML = "application/xml"
#: Version of the standard that the answers are written by.
VERSION = "2.4"
NAMESPACE = f"urn:mtconnect.org:MTConnectAssets:{VERSION}"
#: Tools in one answer.
MOST_ASSETS = 1024

#: Measures of the standard by ISO 13399 property: of the whole tool, of the cutting item.
_OF_TOOL = {"LF": "FunctionalLength"}
_OF_ITEM = {"WF": "FunctionalWidth", "HF": "CuttingHeight", "RE": "CornerRadius"}


class AssetsQuery(PlainQuery):
    """Which assets."""

    count = Whole(
        least=1, most=MOST_ASSETS, query=True, load_default=MOST_ASSETS, explains="At most."
    )
    type = Choice(("CuttingTool",), load_default="CuttingTool", explains="Kind of asset.")


@reads(blueprint, "/v1/mtconnect/assets", None, query=AssetsQuery(), media=XML, problems=())
def read_assets(call: Call) -> Response:
    """List living tools as CuttingTool assets, those built last first."""
    plan = call.site.plans.plan(call.present)
    found = tool_assets(call.tx, plan, call.query["count"])
    return _document(call, found, count_living(call.tx))


@reads(blueprint, "/v1/mtconnect/assets/<path:code>", None, media=XML)
def read_asset(call: Call, code: str) -> Response:
    """Tell one tool as a CuttingTool asset, over or not."""
    plan = call.site.plans.plan(call.present)
    return _document(call, [tool_asset(call.tx, plan, code)], count_living(call.tx))


def _document(call: Call, assets: list[ToolAsset], count: int) -> Response:
    begun_us = first_recorded_us(call.tx)
    begun = call.present if begun_us is None else instant_from_us(begun_us)
    root = Element("MTConnectAssets", xmlns=NAMESPACE)
    SubElement(
        root,
        "Header",
        creationTime=_instant(call.present),
        sender="crib",
        # one history of facts is one instance: it stays the same over restarts
        instanceId=str(int(begun.timestamp())),
        version=VERSION,
        assetBufferSize=str(MOST_ASSETS),
        assetCount=str(count),
        deviceModelChangeTime=_instant(begun),
    )
    listed = SubElement(root, "Assets")
    for asset in assets:
        _write(listed, asset)
    return Response(
        tostring(root, encoding="utf-8", xml_declaration=True), content_type=f"{XML}"
    )


def _write(listed: Element, asset: ToolAsset) -> None:
    tool = SubElement(
        listed,
        "CuttingTool",
        assetId=asset.code,
        timestamp=_instant(asset.changed_at),
        serialNumber=asset.holder,
        toolId=asset.tool_spec,
    )
    if asset.device:
        tool.set("deviceUuid", asset.device)
    place = f", station {asset.machine}/{asset.station}" if asset.station else ""
    place += f", path {asset.path}" if asset.path is not None else ""
    told = f"Lot {asset.lot}, edge {asset.edge}{place}"
    SubElement(tool, "Description").text = told
    cycle = SubElement(tool, "CuttingToolLifeCycle")
    statuses = SubElement(cycle, "CutterStatus")
    for status in asset.statuses:
        SubElement(statuses, "Status").text = status
    _life(cycle, "ToolLife", "PART_COUNT", asset.parts)
    if asset.minutes is not None:
        _life(cycle, "ToolLife", "MINUTES", asset.minutes)
    if asset.tool_number is not None:
        SubElement(cycle, "ProgramToolNumber").text = str(asset.tool_number)
        # the schema takes whole numbers only; the shop's own mark stands in the description
        location = SubElement(cycle, "Location", type="STATION")
        location.text = str(asset.tool_number)
        if (
            asset.path is not None
        ):  # a number may be used on each: the tools of a path are a bar
            location.set("toolBar", f"path{asset.path}")
    _measures(cycle, asset, _OF_TOOL)
    items = SubElement(cycle, "CuttingItems", count=str(asset.pieces))
    item = SubElement(
        items,
        "CuttingItem",
        indices="1" if asset.pieces == 1 else f"1-{asset.pieces}",
        itemId=asset.cutting_item,
    )
    if asset.grade:
        item.set("grade", asset.grade)
    _measures(item, asset, _OF_ITEM)


def _life(parent: Element, name: str, kind: str, life: LifeCounted) -> None:
    element = SubElement(parent, name, type=kind, countDirection="UP", initial="0")
    if life.limit is not None:
        element.set("limit", _number(life.limit))
    if life.warning is not None:
        element.set("warning", _number(life.warning))
    element.text = _number(life.used)


def _measures(parent: Element, asset: ToolAsset, names: dict[str, str]) -> None:
    ours = [one for one in asset.measures if one.name in names]
    if not ours:
        return
    group = SubElement(parent, "Measurements")
    for one in ours:
        _measure(group, names[one.name], one)


def _measure(group: Element, name: str, one: MeasureShown) -> None:
    element = SubElement(group, name, code=one.name, units="MILLIMETER")
    if one.nominal_tenths_um is not None:
        element.set("nominal", mm_from_tenths_um(one.nominal_tenths_um))
    element.text = mm_from_tenths_um(one.value_tenths_um)


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _instant(at: datetime) -> str:
    return print_instant(at)
