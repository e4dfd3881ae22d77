"""A tool as the open standard writes it: one CuttingTool element (ANSI/MTC1.4, assets 2.4)."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement

from crib.clock import print_instant
from crib.units import mm_from_tenths_um
from crib.views.tool_assets import LifeCounted, MeasureShown, ToolAsset

#: Measures of the standard by ISO 13399 property: of the whole tool, of the cutting item.
_OF_TOOL = {"LF": "FunctionalLength"}
_OF_ITEM = {"WF": "FunctionalWidth", "HF": "CuttingHeight", "RE": "CornerRadius"}


def write_asset(parent: Element, asset: ToolAsset) -> Element:
    """Write a tool as a CuttingTool element into another one."""
    tool = SubElement(
        parent,
        "CuttingTool",
        assetId=asset.code,
        timestamp=print_instant(asset.changed_at),
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
        # the schema takes whole numbers only; the shop's own mark is in the description
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
    return tool


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
