"""A calendar from hours that somebody gives with a question, every slip named by its field."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import NamedTuple, TypeVar

from crib.errors import Invalid
from crib.floor.calendar import ALWAYS, WorkCalendar
from crib.floor.closures import Closure, closure_from_texts, parse_local
from crib.floor.timeline import us_of, zone_of
from crib.floor.week import WeekSpan, parse_clock, week_span
from crib.sentence import sentence

_T = TypeVar("_T")


class Window(NamedTuple):
    """Hours of every week, as calendars.csv has them."""

    weekday: str
    start: str
    end: str
    attended: bool = True


class GivenClosure(NamedTuple):
    """A closed time or an extra shift, as closures.csv has them."""

    start: str
    end: str
    kind: str = "closed"
    attended: bool | None = None
    reason: str | None = None


def calendar_of(
    windows: Sequence[Window] | None, closures: Sequence[GivenClosure] = (), zone: str = "UTC"
) -> WorkCalendar:
    """The calendar that somebody described.

    Args:
        windows: Hours of the week; None: round the clock with somebody there. They may
            overlap, and may run past midnight.
        closures: Exceptions to them.
        zone: IANA zone of all these wall times.

    Raises:
        Invalid: ``errors`` names the field: ``windows.0.end``, ``closures.2.start``,
            ``time_zone``.
    """
    _at("time_zone", lambda: zone_of(zone))
    spans = (
        ALWAYS.spans
        if windows is None
        else tuple(_span(f"windows.{place}", one) for place, one in enumerate(windows))
    )
    return WorkCalendar(
        spans, zone, tuple(_closure(f"closures.{n}", one) for n, one in enumerate(closures))
    )


def check_instant(field: str, at: datetime) -> None:
    """Refuse an instant that lies in no year of a machine's life, naming its field.

    Raises:
        Invalid: It is such an instant.
    """
    _at(field, lambda: us_of(at))


def _span(place: str, window: Window) -> WeekSpan:
    day = window.weekday
    _at(f"{place}.weekday", lambda: week_span(day, "00:00", "24:00", True))
    start = _at(f"{place}.start", lambda: week_span(day, window.start, "24:00", True).start_min)
    if _at(f"{place}.end", lambda: parse_clock(window.end)) == start:
        raise _wrong(
            f"{place}.end",
            sentence(
                "A window that ends when it starts has no length: give a whole day as "
                "00:00 to 24:00, or as two windows."
            ),
        )
    return week_span(day, window.start, window.end, window.attended)


def _closure(place: str, given: GivenClosure) -> Closure:
    start = _at(f"{place}.start", lambda: parse_local(given.start))
    end = _at(f"{place}.end", lambda: parse_local(given.end))
    if given.kind == "open" and given.attended is None:
        raise _wrong(
            f"{place}.attended", sentence("Say of an extra shift whether somebody is there.")
        )
    if given.kind == "closed" and given.attended:
        raise _wrong(
            f"{place}.attended", sentence("Nobody attends a closed time: leave it out.")
        )
    return _at(
        f"{place}.end",
        lambda: closure_from_texts(start, end, given.kind, given.attended, given.reason),
    )


def _at(field: str, make: Callable[[], _T]) -> _T:
    try:
        return make()
    except Invalid as problem:
        raise _wrong(field, problem.sentence) from problem


def _wrong(field: str, sentence: str) -> Invalid:
    return Invalid(sentence, errors=[{"field": field, "detail": sentence}])
