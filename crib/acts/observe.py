"""Observations of a machine that anything can send: counts, states, tools, breakages.

They take the road of agents and brokers (``book_feed``), for a machine that has neither: a
pulse counter or a relay on a small computer, a script, a control that can post.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from crib.acts.book_feed import (
    BreakageNews,
    CountNews,
    FeedNews,
    StateNews,
    book_feed,
)
from crib.acts.report_counts import MOST_READINGS, CountsReported, RefusedCount
from crib.clock import CLOCK_TOLERANCE, parse_instant, print_instant
from crib.errors import Invalid
from crib.floor.path_counters import path_number
from crib.sentence import sentence, together
from crib.store.counts import counters_of
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name

#: Member of an observation -> the state that it tells.
_STATES = {"state": "EXECUTION", "tool_number": "TOOL_NUMBER", "tool_asset": "TOOL_ASSET_ID"}
TELLING = ("count", *_STATES, "breakage")


@dataclass(frozen=True, slots=True)
class Observe:
    """What was observed of a machine.

    Attributes:
        machine: Name of the machine.
        observations: Each with ``at`` and what it tells: ``count``, ``state``,
            ``tool_number``, ``tool_asset``, ``breakage``; ``path`` where there are several.
    """

    machine: str
    observations: Sequence[Mapping[str, object]]


@dataclass(slots=True)
class _Told:
    counts: list[CountNews]
    places: list[int]
    states: list[StateNews]
    breakages: list[BreakageNews]
    refused: list[RefusedCount]


def observe(tx: Tx, present: datetime, command: Observe) -> CountsReported:
    """Book observations in any order; what came before changes nothing.

    Raises:
        Invalid: None, more than ``MOST_READINGS``, or counts of more than one path.
        NotKnown: No such machine.
    """
    size = len(command.observations)
    if not 0 < size <= MOST_READINGS:
        raise Invalid(
            sentence(
                "Send 1 to {most_readings} observations in one call, not {size}.",
                most_readings=MOST_READINGS,
                size=size,
            ),
            errors=[
                {
                    "field": "observations",
                    "detail": sentence(
                        "from 1 to {most_readings}", most_readings=MOST_READINGS
                    ),
                }
            ],
        )
    if not counters_of(tx, machine_id_by_name(tx, command.machine))[0]:
        _refuse_paths(command.observations)
    told = _Told([], [], [], [], [])
    for place, one in enumerate(command.observations):
        _take(told, place, one, present)
    told.states.sort(key=lambda one: one.at)
    news = FeedNews(
        command.machine,
        "http",
        present,
        told.counts,
        told.states,
        breakages=told.breakages,
    )
    done = book_feed(tx, present, news) if news.tells_something else None
    if done is None:
        return CountsReported(None, 0, 0, 0, 0, tuple(told.refused))
    refused = [
        RefusedCount(told.places[row.index], row.at, row.count, row.reason, row.sentence)
        for row in done.refused
    ]
    return CountsReported(
        done.fact_id,
        done.accepted,
        done.duplicates,
        done.resets_seen,
        done.rollovers_seen,
        tuple(sorted([*refused, *told.refused], key=lambda row: row.index)),
        done.parts_without_run,
        done.without_run,
    )


def _refuse_paths(observations: Sequence[Mapping[str, object]]) -> None:
    """Refuse counts of several paths of a machine that has one counter here."""
    paths = {_path(one) for one in observations if one.get("count") is not None} - {""}
    if len(paths) > 1:
        raise Invalid(
            sentence(
                "These are counts of paths {paths}: a machine has one part counter "
                "here. Send the counts of one path.",
                paths=together(", ", sorted(paths)),
            ),
            errors=[
                {"field": "observations", "detail": sentence("counts of more than one path")}
            ],
        )


def _take(told: _Told, place: int, one: Mapping[str, object], present: datetime) -> None:
    try:
        at = _instant(one.get("at"), present)
        news = _other_news(one, at)
    except Invalid as problem:
        reason = "in_future" if "future" in problem.sentence else "not_readable"
        told.refused.append(
            RefusedCount(place, None, one.get("count"), reason, problem.sentence)
        )
        return
    if one.get("count") is not None:
        path = _path(one)
        source = sentence("posted, path {path}", path=path) if path else None
        news_of = CountNews(at, str(one["count"]), source=source, path=path_number(path))
        told.counts.append(news_of)
        told.places.append(place)
    for each in news:
        if isinstance(each, StateNews):
            told.states.append(each)
        else:
            told.breakages.append(each)


def _instant(text: object, present: datetime) -> datetime:
    if not isinstance(text, str):
        raise Invalid(
            sentence("An observation needs its time: at, like 2026-03-29T01:30:00+01:00.")
        )
    at = parse_instant(text)
    if at > present + CLOCK_TOLERANCE:
        raise Invalid(
            sentence(
                "{at} lies in the future (it is {present}): check the clock that sent it.",
                at=print_instant(at),
                present=print_instant(present),
            )
        )
    return at


def _other_news(one: Mapping[str, object], at: datetime) -> list[StateNews | BreakageNews]:
    """States and breakage of an observation.

    Raises:
        Invalid: It tells nothing, or its tool number is none.
    """
    if all(one.get(name) is None for name in TELLING):
        raise Invalid(
            sentence(
                "This observation reports nothing: give one of {telling}.",
                telling=together(", ", TELLING),
            )
        )
    number = one.get("tool_number")
    if number is not None and not (
        isinstance(number, int) and not isinstance(number, bool) and 0 <= number < 10**9
    ):
        raise Invalid(
            sentence(
                "'{number}' is not a tool number: give the program's, like 4.",
                number=str(number)[:30],
            )
        )
    path = _path(one)
    found: list[StateNews | BreakageNews] = [
        StateNews(at, kind, path, str(one[name])[:200])
        for name, kind in _STATES.items()
        if one.get(name) is not None
    ]
    if one.get("breakage") is not None:
        why = None if number is not None else sentence("The observation names no tool number.")
        found.append(BreakageNews(at, path, number, str(one["breakage"])[:200], why))
    return found


def _path(one: Mapping[str, object]) -> str:
    path = one.get("path")
    return "" if path is None else str(path)[:60]
