"""Tools in the open format: MTConnect cutting tool assets, for agents and machines to read."""

from __future__ import annotations

from functools import partial
from xml.etree.ElementTree import Element, SubElement, tostring

from flask import Response
from flask_smorest import Blueprint

from api.http.operation import Call, reads
from api.schemas.fields import Choice, Whole
from api.schemas.query import PlainQuery
from crib.clock import print_instant, readable_instant
from crib.left_out import each
from crib.store.facts import first_recorded_us
from crib.views.tool_asset_xml import write_asset
from crib.views.tool_assets import ToolAsset, count_living, tool_asset, tool_assets

blueprint = Blueprint("mtconnect", __name__, description="Tools in the open format.")

XML = "application/xml"
#: Version of the standard that the answers are written by.
VERSION = "2.4"
NAMESPACE = f"urn:mtconnect.org:MTConnectAssets:{VERSION}"
#: Tools in one answer.
MOST_ASSETS = 1024


class AssetsQuery(PlainQuery):
    """Which assets."""

    count = Whole(
        least=1, most=MOST_ASSETS, query=True, load_default=MOST_ASSETS, explains="At most."
    )
    type = Choice(("CuttingTool",), load_default="CuttingTool", explains="Kind of asset.")


@reads(blueprint, "/v1/mtconnect/assets", None, query=AssetsQuery(), media=XML)
def read_assets(call: Call) -> Response:
    """List living tools as CuttingTool assets, those built last first."""
    plan = call.site.plans.plan(call.present)
    found = tool_assets(call.tx, plan, call.query["count"])
    return _document(call, found, count_living(call.tx))


@reads(blueprint, "/v1/mtconnect/assets/<name:code>", None, media=XML)
def read_asset(call: Call, code: str) -> Response:
    """Show one tool as a CuttingTool asset, in use or ended."""
    plan = call.site.plans.plan(call.present)
    return _document(call, [tool_asset(call.tx, plan, code)], count_living(call.tx))


def _not_written(asset: ToolAsset) -> str:
    return f"The asset of tool {asset.code} could not be written, so it is not listed."


def _document(call: Call, assets: list[ToolAsset], count: int) -> Response:
    begun_us = first_recorded_us(call.tx)
    begun = readable_instant(begun_us) or call.present
    root = Element("MTConnectAssets", xmlns=NAMESPACE)
    SubElement(
        root,
        "Header",
        creationTime=print_instant(call.present),
        sender="crib",
        # one history of facts is one instance: it stays the same over restarts
        instanceId=str(int(begun.timestamp())),
        version=VERSION,
        assetBufferSize=str(MOST_ASSETS),
        assetCount=str(count),
        deviceModelChangeTime=print_instant(begun),
    )
    listed = SubElement(root, "Assets")
    for asset in assets:  # one that cannot be written leaves the others, and no half of itself
        written = Element("Assets")
        if not each([asset], partial(write_asset, written), _not_written):
            listed.extend(written)
    return Response(
        tostring(root, encoding="utf-8", xml_declaration=True), content_type=f"{XML}"
    )
