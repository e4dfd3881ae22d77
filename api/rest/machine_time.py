"""A machine's hours ahead: stretches, closures, running share, the parts of its job."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, reads
from api.rest.plan import plan_of
from api.rest.workings_clock import exception_rows
from api.schemas.clock import TimeAheadQuery, TimeAheadShape
from crib.errors import NotKnown
from crib.floor.cautions import PROBABILITY
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.time_ahead import time_ahead
from crib.sentence import sentence

blueprint = Blueprint("machine-time", __name__, description="The hours of a machine.")


@reads(
    blueprint,
    "/v1/machines/<name:machine>/time-ahead",
    TimeAheadShape(),
    query=TimeAheadQuery(),
    opens=False,
)
def read_time_ahead(call: Call, machine: str) -> dict[str, Any]:
    """Lay out a machine's hours from now on, and what its job makes in them."""
    plan = plan_of(call)
    found = time_ahead(plan.shop, _machine_id(plan, machine), call.query["hours"])
    share = found.share
    return {
        "machine": found.machine,
        "as_of": plan.shop.now,
        "until": found.until,
        "time_zone": found.time_zone,
        "stretches": found.stretches,
        "exceptions": exception_rows(found.exceptions),
        "running_share": {
            "all": share.both,
            "attended": share.attended,
            "unattended": share.unattended,
            "separate": share.separate,
            "seen_h": share.seen_s / 3_600,
        },
        "job": found.job,
        "caution": PROBABILITY,
    }


def _machine_id(plan: ShopPlan, text: str) -> int:
    machines = plan.shop.rows.machines.values()
    for row in machines:
        if row.machine == text:
            return int(row.id)
    alike = [row for row in machines if row.machine.lower() == text.lower()]
    if len(alike) == 1:
        return int(alike[0].id)
    raise NotKnown(
        sentence("There is no machine '{text}' here.", text=text[:60]),
        facts={"machine": text[:60]},
        errors=[{"field": "machine", "detail": sentence("is not a machine here")}],
    )
