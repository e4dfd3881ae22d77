"""The calendars of the shop, laid out ahead of an instant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.floor.calendar import ALWAYS, WorkCalendar
from crib.floor.closures import closure_from_texts
from crib.floor.week import WeekSpan
from crib.left_out import each
from crib.planning.ahead import TimeAhead, lay_out
from crib.sentence import sentence
from crib.store.shop_records import CalendarOfShop, SpanOfWeek
from crib.store.shop_rows import ShopRows

#: How far ahead the calendars are laid out.
LOOK_AHEAD = timedelta(days=60)

#: Calendars of these names are the bench's own hours.
BENCH_CALENDARS = ("bench", "toolroom")

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True)
class HoursOfShop:
    """The calendars that say anything.

    Attributes:
        calendars: By id.
        times: The time ahead of each, by id; under 0 that of a machine that is always open.
        bench: The calendar called bench or toolroom, if the shop has one.
        unreadable: Problems of calendars that could not be worked out, by id.
    """

    calendars: Mapping[int, WorkCalendar]
    times: Mapping[int, TimeAhead]
    bench: WorkCalendar | None
    unreadable: Mapping[int, str]

    def of(self, calendar_id: int | None) -> tuple[WorkCalendar, TimeAhead]:
        """The calendar of that id and the time ahead; always open where it says nothing."""
        known = calendar_id if calendar_id in self.calendars else None
        return self.calendars.get(known or 0, ALWAYS), self.times[known or 0]


def hours_of_shop(rows: ShopRows, now: datetime) -> HoursOfShop:
    """Every calendar that says anything; one that only says when it is closed is open else.

    Args:
        rows: The shop.
        now: The instant that they are laid out from.
    """
    built: dict[int, WorkCalendar] = {}
    times = {0: lay_out(ALWAYS, now, now + LOOK_AHEAD)}
    unreadable: dict[int, str] = {}
    named = {one.time_zone for one in rows.calendars.values() if one.time_zone}
    usual = named.pop() if len(named) == 1 else "UTC"

    def build(calendar: CalendarOfShop) -> None:
        if calendar.id not in rows.spans and calendar.id not in rows.closures:
            return
        made = WorkCalendar(
            tuple(_week_span(span) for span in rows.spans.get(calendar.id, ())) or ALWAYS.spans,
            calendar.time_zone or usual,
            tuple(
                closure_from_texts(
                    row.start_local,
                    row.end_local,
                    row.kind,
                    None if row.attended is None else bool(row.attended),
                    row.reason,
                )
                for row in rows.closures.get(calendar.id, ())
            ),
        )
        times[calendar.id] = lay_out(made, now, now + LOOK_AHEAD)
        built[calendar.id] = made

    def failed(calendar: CalendarOfShop) -> str:
        unreadable[calendar.id] = text = sentence(
            "The hours of calendar {calendar} could not be worked out. Check its "
            "time zone, its rows and its closures.",
            calendar=calendar.calendar,
        )
        return text

    each(rows.calendars.values(), build, failed)
    bench = None
    for number, calendar in built.items():
        if rows.calendars[number].calendar.lower() in BENCH_CALENDARS:
            bench = calendar
    return HoursOfShop(built, times, bench, unreadable)


def _week_span(span: SpanOfWeek) -> WeekSpan:
    end = span.end_minute
    return WeekSpan(
        _WEEKDAYS.index(span.weekday),
        span.start_minute,
        end if end > span.start_minute else end + 1440,
        bool(span.attended),
    )
