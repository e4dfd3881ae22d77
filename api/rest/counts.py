"""Part counts: in batches, in any order, twice without harm."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, writes
from api.schemas.counts import MOST_REFUSED_SHOWN, CountsBody, CountsShape
from crib.usecases.count_columns import columns_from_json
from crib.usecases.report_counts import ReportCounts, report_counts

_ANSWERED = ("fact_id", "accepted", "duplicates", "resets_seen", "rollovers_seen")

blueprint = Blueprint("counts", __name__, description="What part counters said.")


@writes(blueprint, "/v1/counts", CountsShape(), body=CountsBody(), status=202, hot=True)
def post_counts(call: Call) -> Reply:
    """Take in readings of a machine's part counter, up to 50,000 in one call."""
    body = dict(call.body)
    readings = body.pop("readings")
    command = ReportCounts(readings=columns_from_json(readings), **body)
    done = report_counts(call.tx, call.present, command)
    answer = {name: getattr(done, name) for name in _ANSWERED}
    answer["refused"] = done.refused[:MOST_REFUSED_SHOWN]
    answer["refused_in_all"] = len(done.refused)
    return Reply(answer)
