"""Part counts and all that is observed: in batches, in any order, twice without harm."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, writes
from api.schemas.counts import (
    MOST_REFUSED_SHOWN,
    CountsBody,
    CountsShape,
    ObservationsBody,
)
from crib.usecases.count_columns import columns_from_json
from crib.usecases.observe import Observe, observe
from crib.usecases.report_counts import (
    CountsReported,
    ReportCounts,
    report_counts,
)

_ANSWERED = ("fact_id", "accepted", "duplicates", "resets_seen", "rollovers_seen")

blueprint = Blueprint("counts", __name__, description="What part counters said.")


@writes(blueprint, "/v1/counts", CountsShape(), body=CountsBody(), status=202, hot=True)
def post_counts(call: Call) -> Reply:
    """Take in readings of a machine's part counter, up to 50,000 in one call."""
    body = dict(call.body)
    readings = body.pop("readings")
    command = ReportCounts(readings=columns_from_json(readings), **body)
    done = report_counts(call.tx, call.present, command)
    return Reply(_answer(done))


@writes(blueprint, "/v1/observations", CountsShape(), body=ObservationsBody(), status=202)
def post_observations(call: Call) -> Reply:
    """Take in what was observed of a machine: counts, states, tools, breakages."""
    return Reply(_answer(observe(call.tx, call.present, Observe(**call.body))))


def _answer(done: CountsReported) -> dict[str, Any]:
    answer: dict[str, Any] = {name: getattr(done, name) for name in _ANSWERED}
    answer["refused"] = done.refused[:MOST_REFUSED_SHOWN]
    answer["refused_in_all"] = len(done.refused)
    return answer
