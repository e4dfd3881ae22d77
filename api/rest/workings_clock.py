"""Parts to clock time and back, over hours that come with the question."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from flask_smorest import Blueprint

from api.http.operation import Call, computes
from api.schemas.clock import ClockTimeAnswer, ClockTimeBody
from crib.floor.calendar import HORIZON, ExceptionAhead
from crib.floor.given_hours import GivenClosure, Window, calendar_of, check_instant
from crib.floor.parts_clock import PartsClock, WorkedStretch

blueprint = Blueprint(
    "workings-clock", __name__, description="The calculations by themselves: hours and parts."
)


@computes(blueprint, "/v1/workings/clock-time", ClockTimeAnswer(), body=ClockTimeBody())
def work_out_clock_time(call: Call) -> dict[str, Any]:
    """Work out when a job is done, and what is made by an instant."""
    given = call.body
    for name in ("start_at", "parts_by"):
        if name in given:
            check_instant(name, given[name])
    windows = given.get("windows")
    calendar = calendar_of(
        None if windows is None else [Window(**window) for window in windows],
        [GivenClosure(**closure) for closure in given.get("closures", ())],
        given.get("time_zone", "UTC"),
    )
    start_at: datetime = given["start_at"]
    latest = start_at + HORIZON
    clock = PartsClock(
        calendar.stretches(start_at, latest),
        given["cycle_s"],
        given.get("attended_share", 1.0),
        given.get("unattended_share", 1.0),
    )
    finish_at = clock.finish(given["parts"])
    rows = clock.worked(latest if finish_at is None else finish_at)
    local = None if finish_at is None else finish_at.astimezone(ZoneInfo(calendar.zone))
    asked = given.get("parts_by")
    return {
        "finish_at": finish_at,
        "finish_local": local and local.isoformat(),
        "elapsed_min": finish_at and (finish_at - start_at).total_seconds() / 60,
        "attended_min": sum(row.open_min for row in rows if row.attended),
        "unattended_min": sum(row.open_min for row in rows if not row.attended),
        "parts_by": None if asked is None else clock.parts_by(asked),
        "stretches": rows,
        "exceptions": exception_rows(calendar.exceptions(start_at, finish_at or latest)),
        "why": _why(given["parts"], given["cycle_s"], rows, clock, finish_at),
    }


def exception_rows(exceptions: Sequence[ExceptionAhead]) -> list[dict[str, Any]]:
    """Closed times and extra shifts as their shape wants them."""
    return [
        {
            "start_at": one.start_at,
            "end_at": one.end_at,
            "kind": "open" if one.opens else "closed",
            "attended": one.attended,
            "reason": one.reason,
        }
        for one in exceptions
    ]


def _why(
    parts: int,
    cycle_s: float,
    rows: Sequence[WorkedStretch],
    clock: PartsClock,
    finish_at: datetime | None,
) -> str:
    need = f"{parts} parts of {cycle_s:g} s are {parts * cycle_s / 60:.6g} min of cutting"
    if finish_at is None:
        return f"{need}; within {HORIZON.days} days there is time for {clock.parts} parts."
    opened = sum(row.open_min for row in rows)
    number = f"{len(rows)} stretch" + ("" if len(rows) == 1 else "es")
    return f"{need}, made in {opened:.6g} open minutes of {number}."
