"""Tools in machines: mounted, removed, corrected."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, writes
from api.schemas.mounts import MountBody, MountShape
from crib.usecases.mount_tool import MountTool, mount_tool

blueprint = Blueprint("mounts", __name__, description="Tools in machines: in, out, corrected.")


@writes(blueprint, "/v1/mounts", MountShape(), body=MountBody())
def post_mount(call: Call) -> Reply:
    """Mount a tool: every mismatch at once, or what to key in."""
    body = dict(call.body)
    scanned = body.pop("scanned", {})
    command = MountTool(
        **body,
        scanned_station=scanned.get("station"),
        scanned_assembly=scanned.get("assembly"),
    )
    done = mount_tool(call.tx, call.present, command)
    return Reply(done, headers={"Location": f"/v1/mounts/{done.fact_id}"})
