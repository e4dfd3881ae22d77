"""Shapes of hours and parts: a machine's time ahead, parts to clock time and back."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.fields import At, Choice, Number, Shape, Text, Whole, YesNo, listed
from api.schemas.views import AsOfQuery
from crib.records.catalogue import WEEKDAYS


class TimeAheadQuery(AsOfQuery):
    """How far to look ahead."""

    hours = Number(
        above=0,
        most=8_784,
        query=True,
        load_default=24.0,
        explains="How far to look ahead [h].",
    )


class StretchShape(Shape):
    """A stretch in which a machine is open, attended or not as a whole."""

    start_at = At(required=True)
    end_at = At(required=True)
    attended = YesNo(required=True)
    open_min = Number(required=True, explains="Elapsed time, whatever the wall clock does.")
    cutting_min = Number(required=True, explains="Open time times the running share.")
    parts = Whole(required=True, explains="Whole parts of the job finished in it.")


class ExceptionShape(Shape):
    """A closed time or an extra shift, whole, on the line of real time."""

    start_at = At(required=True)
    end_at = At(required=True)
    kind = Choice(("closed", "open"), required=True)
    attended = YesNo(required=True, explains="Of an extra shift: whether somebody is there.")
    reason = Text(required=True, allow_none=True)


class ShareShape(Shape):
    """Seconds of cutting per second of open time, learned from the counter's last week."""

    all = Number(required=True)
    attended = Number(required=True)
    unattended = Number(required=True)
    separate = YesNo(
        required=True, explains="Whether readings tell attended and unattended time apart."
    )
    seen_h = Number(required=True, explains="Open hours that it was learned from.")


class JobAheadShape(Shape):
    """The job that runs."""

    part = Text(required=True)
    quantity = Whole(required=True)
    made = Whole(required=True, explains="Counted so far.")
    left = Whole(
        required=True,
        allow_none=True,
        explains="Those made since the last reading taken off; null: past the quantity.",
    )
    done_at = At(required=True, allow_none=True)


class TimeAheadShape(Shape):
    """A machine's hours from now on, and what its job makes in them."""

    machine = Text(required=True)
    as_of = At(required=True)
    until = At(required=True)
    time_zone = Text(required=True)
    stretches = fields.List(fields.Nested(StretchShape), required=True)
    exceptions = fields.List(fields.Nested(ExceptionShape), required=True)
    running_share = fields.Nested(ShareShape, required=True)
    job = fields.Nested(JobAheadShape, required=True, allow_none=True)
    caution = Text(required=True)


class WindowBody(Shape):
    """Hours of every week on the wall clock, as in calendars.csv."""

    weekday = Choice(WEEKDAYS, required=True)
    start = Text(required=True, explains="00:00 to 23:59.")
    end = Text(required=True, explains="Up to 24:00; before the start: on the next day.")
    attended = YesNo(explains="Whether somebody is there; left out: yes.")


class ClosureBody(Shape):
    """An exception to the week on the wall clock, as in closures.csv."""

    start = Text(required=True, explains="A day, or a local time like 2026-12-24T14:00.")
    end = Text(required=True, explains="As above; a whole day ends at the midnight after it.")
    kind = Choice(("closed", "open"), explains="Left out: closed.")
    attended = YesNo(allow_none=True, explains="Of an extra shift: whether somebody is there.")
    reason = Text(allow_none=True)


class ClockTimeBody(Shape):
    """A job, when it begins, and the hours of its machine."""

    parts = Whole(least=1, most=1_000_000_000, required=True)
    cycle_s = Number(least=0.001, most=1_000_000, required=True)
    start_at = At(required=True)
    time_zone = Text(explains="IANA zone of the wall times; left out: UTC.")
    windows = listed(
        WindowBody, most=500, explains="Left out: round the clock, with somebody there."
    )
    closures = listed(ClosureBody, most=1_000)
    attended_share = Number(
        least=0,
        most=2,
        explains="Seconds of cutting per open second with somebody there; left out: 1.",
    )
    unattended_share = Number(least=0, most=2, explains="The same with nobody there.")
    parts_by = At(explains="An instant at which the parts made by then are wanted.")


class ClockTimeAnswer(Shape):
    """When the job is done, and what is done of it in each stretch."""

    finish_at = At(
        required=True, allow_none=True, explains="null: not within 366 days of the start."
    )
    finish_local = Text(
        required=True, allow_none=True, explains="The same in the zone of the wall times."
    )
    elapsed_min = Number(required=True, allow_none=True)
    attended_min = Number(required=True, explains="Open time used with somebody there.")
    unattended_min = Number(required=True, explains="Open time used with nobody there.")
    parts_by = Whole(
        required=True, allow_none=True, explains="Whole parts made by the instant asked for."
    )
    stretches = fields.List(fields.Nested(StretchShape), required=True)
    exceptions = fields.List(fields.Nested(ExceptionShape), required=True)
    why = Text(required=True)
