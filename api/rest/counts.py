"""Part counts and all that is observed: in batches, in any order, twice without harm."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, reads, writes
from api.rest.plan import machine_of
from api.schemas.counts import (
    MOST_REFUSED_SHOWN,
    ClaimBody,
    CountsBody,
    CountsShape,
    ObservationsBody,
)
from api.schemas.feeds import MachineQuery
from api.schemas.records import page_shape
from api.schemas.results import shape_from
from crib.acts.claim_parts import ClaimParts, PartsClaimed, claim_parts
from crib.acts.count_columns import columns_from_json
from crib.acts.observe import Observe, observe
from crib.acts.report_counts import (
    CountsReported,
    ReportCounts,
    report_counts,
)
from crib.planning.parts_without_run import PartsWithoutRun

_ANSWERED = (
    "fact_id", "accepted", "duplicates", "resets_seen", "rollovers_seen", "parts_without_run",
    "without_run",
)  # fmt: skip

ClaimShape = shape_from(PartsClaimed, "ClaimShape")
WithoutRunPage = page_shape(shape_from(PartsWithoutRun, "WithoutRunShape"))

blueprint = Blueprint("counts", __name__, description="What part counters said.")


@writes(blueprint, "/v1/counts", CountsShape(), body=CountsBody(), status=202, hot=True)
def post_counts(call: Call) -> Reply:
    """Record readings of a machine's part counter, up to 50,000 in one call."""
    body = dict(call.body)
    readings = body.pop("readings")
    command = ReportCounts(readings=columns_from_json(readings), **body)
    done = report_counts(call.tx, call.present, command)
    return Reply(_answer(done))


@writes(blueprint, "/v1/observations", CountsShape(), body=ObservationsBody(), status=202)
def post_observations(call: Call) -> Reply:
    """Record what was observed at a machine: counts, states, tools, breakages."""
    return Reply(_answer(observe(call.tx, call.present, Observe(**call.body))))


@reads(blueprint, "/v1/parts-without-run", WithoutRunPage(), query=MachineQuery(), opens=False)
def list_parts_without_run(call: Call) -> dict[str, Any]:
    """List parts that belong to no run, so that no edge is charged with them."""
    plan = call.site.plans.plan(call.present)
    machine = machine_of(call, plan)
    rows = [one for row in plan.shop.machines.values() for one in row.without_run]
    found = [one for one in rows if machine in (None, one.machine)]
    return {"items": found, "next": None}


@writes(blueprint, "/v1/run-claims", ClaimShape(), body=ClaimBody(), status=200)
def post_run_claim(call: Call) -> Reply:
    """Say which run made parts that belong to none: they are charged, backwards too.

    A planned run starts with them, a later one began with them, an earlier one went on.
    """
    return Reply(claim_parts(call.tx, call.present, ClaimParts(**call.body)))


def _answer(done: CountsReported) -> dict[str, Any]:
    answer: dict[str, Any] = {name: getattr(done, name) for name in _ANSWERED}
    answer["refused"] = done.refused[:MOST_REFUSED_SHOWN]
    answer["refused_in_all"] = len(done.refused)
    return answer
