"""Instants as a person says them: "in 40 min", "40 min ago"; the instant itself stays near."""

from __future__ import annotations

from datetime import datetime, timedelta

from markupsafe import Markup

from api.language.formats import local_clock, local_day, local_time, local_weekday, number
from api.language.texts import _, _n
from crib.clock import print_instant

_MINUTE = timedelta(minutes=1)
_DAY = timedelta(days=1)
#: A weekday names a day that is less than this away.
_WEEK = timedelta(days=6)


def span(length: timedelta) -> str:
    """A length of time: "40 min", "1 h 10 min", "25 h", "3 days".

    Whole minutes are rounded down, as a clock does; less than one is a minute.
    """
    minutes = max(length // _MINUTE, 1)
    if minutes < 60:
        return _("{minutes} min", minutes=number(minutes))
    if length < _DAY:
        hours, rest = divmod(minutes, 60)
        if rest:
            return _("{hours} h {minutes} min", hours=number(hours), minutes=number(rest))
        return _("{hours} h", hours=number(hours))
    hours = round(length / timedelta(hours=1))
    if hours < 48:
        return _("{hours} h", hours=number(hours))
    return _n("one day", "{number} days", round(length / _DAY))


def at_clock(at: datetime, now: datetime) -> str:
    """The time of day; where that is not today with the weekday, or with the whole date."""
    if local_day(at) == local_day(now):
        return local_clock(at)
    if abs(at - now) < _WEEK:
        return f"{local_weekday(at)} {local_clock(at)}"
    return local_time(at)


def when(at: datetime | None, now: datetime) -> Markup:
    """An instant from now: "in 40 min", "40 min ago"; beyond a day the day itself.

    The page shows the instant itself on hover, on focus of what it stands in, and on paper
    (crib.css).
    """
    if at is None:
        return Markup()
    away = at - now
    if abs(away) >= _DAY:
        return _marked(at, at_clock(at, now))
    if abs(away) < _MINUTE:
        return _marked(at, _("now"), "away")
    if away > timedelta(0):
        return _marked(at, _("in {time}", time=span(away)), "away")
    return _marked(at, _("{time} ago", time=span(-away)), "away")


def how_long(since: datetime, now: datetime) -> Markup:
    """How long something has been so by now: "40 min"."""
    return _marked(since, span(now - since), "since")


def clock_of(at: datetime, now: datetime) -> Markup:
    """A time to meet: "16:45", with the day where that is not today."""
    return _marked(at, at_clock(at, now))


def _marked(at: datetime, words: str, kind: str = "at") -> Markup:
    return Markup(
        '<time class="when {}" datetime="{}" title="{}"><span>{}</span></time>'
    ).format(kind, print_instant(at), local_time(at), words)
