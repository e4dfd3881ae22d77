"""What the cells of one row must hold together, beyond what each holds alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from datetime import datetime
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from crib.cutting.contradictions import contradictions
from crib.cutting.operations import CutOperation
from crib.errors import Invalid
from crib.floor.closures import local_end, local_start
from crib.floor.path_counters import path_counters
from crib.metrology.block import template_problems
from crib.metrology.gauge_line import compile_pattern
from crib.records.columns import Record
from crib.records.passwords import MASK, is_masked
from crib.sentence import clause, sentence

_DAY_MINUTES = 24 * 60
_TEMPLATE = "(MACHINE $machine)"

Values = Mapping[str, object]


class Problem(NamedTuple):
    """What is wrong with a row, at which column, and what would be right.

    ``reason`` and ``right`` make one sentence whose subject is the value of ``column``.
    """

    column: str
    reason: str
    right: str


@lru_cache(maxsize=512)
def is_time_zone(name: str) -> bool:
    """Whether the IANA data of this machine know a zone of that name.

    Examples:
        >>> is_time_zone("Europe/Berlin"), is_time_zone("Europe")
        (True, False)
    """
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return True


def problems_of(record: Record, values: Values) -> list[Problem]:
    """Every way in which the values of one row contradict each other.

    Args:
        record: What the row is.
        values: Typed values by column name; a missing name counts as empty.
    """
    rule = _RULES.get(record.name)
    return list(rule(values)) if rule else []


def _calendar_span(values: Values) -> Iterator[Problem]:
    zone = values.get("time_zone")
    if isinstance(zone, str) and not is_time_zone(zone):
        yield Problem(
            "time_zone",
            sentence("is no IANA time zone"),
            sentence("write it like Europe/Berlin, or leave it empty"),
        )
    if values.get("start") == _DAY_MINUTES:
        yield Problem(
            "start",
            sentence("is the end of a day"),
            sentence("write 00:00 on the next weekday"),
        )


def _closure(values: Values) -> Iterator[Problem]:
    start, end = values.get("start"), values.get("end")
    if isinstance(start, str) and isinstance(end, str) and local_end(end) <= local_start(start):
        yield Problem(
            "end", sentence("does not lie after start"), sentence("write when it ends")
        )
    kind, attended = values.get("kind"), values.get("attended")
    if kind == "open" and attended is None:
        yield Problem(
            "attended", sentence("is empty"), sentence("say yes or no of an extra shift")
        )
    if kind == "closed" and attended:
        yield Problem(
            "attended", sentence("is said of a closed time"), sentence("leave it empty there")
        )


def _machine(values: Values) -> Iterator[Problem]:
    bar, remnant = values.get("bar_length_mm"), values.get("bar_remnant_mm")
    if isinstance(bar, float) and isinstance(remnant, float) and remnant >= bar:
        yield Problem(
            "bar_remnant_mm",
            sentence("is the whole bar"),
            sentence("write what is left of one in mm"),
        )
    counters = values.get("path_counters")
    if isinstance(counters, str):
        try:
            path_counters(counters)
        except ValueError as problem:
            yield Problem(
                "path_counters", problem.args[0], sentence("write it like 1:main|2:sub*2")
            )
    if is_masked(values.get("feed_url")):
        yield Problem(
            "feed_url",
            sentence("holds {mask} in the place of a password", mask=MASK),
            sentence(
                "write the password: only an address that is otherwise unchanged keeps it"
            ),
        )
    template = values.get("block_template")
    for number, detail in template_problems(template) if isinstance(template, str) else ():
        yield Problem(
            "block_template",
            sentence("line {number}: {detail}", number=number, detail=detail),
            sentence("write it like {template}", template=_TEMPLATE),
        )


def _cutting_item(values: Values) -> Iterator[Problem]:
    if "|" in str(values.get("cutting_item")):
        yield Problem(
            "cutting_item",
            sentence("holds a |, which stands between names elsewhere"),
            sentence("write the name without it"),
        )


def _operation(values: Values) -> Iterator[Problem]:
    cut: dict[str, Any] = {
        field.name: values[field.name]
        for field in fields(CutOperation)
        if values.get(field.name) is not None
    }
    if "kind" in cut:
        for one in contradictions(CutOperation(**cut)):
            yield Problem(*one)


def _tool_life(values: Values) -> Iterator[Problem]:
    if values.get("tool_material") is None and values.get("cutting_item") is None:
        yield Problem(
            "tool_material",
            sentence("and cutting_item are both empty"),
            sentence("write one of them: it says which edges the constants are for"),
        )


def _run(values: Values) -> Iterator[Problem]:
    start_at, end_at = values.get("start_at"), values.get("end_at")
    if isinstance(start_at, datetime) and isinstance(end_at, datetime) and end_at < start_at:
        yield Problem(
            "end_at", sentence("lies before start_at"), sentence("write when the run ended")
        )


def _gauge(values: Values) -> Iterator[Problem]:
    pattern = values.get("line_pattern")
    if isinstance(pattern, str):
        try:
            compile_pattern(pattern)
        except Invalid as problem:
            why = clause(problem.sentence)
            right = sentence("write it like LF {lf} WF {wf}")
            yield Problem("line_pattern", sentence("cannot be used: {why}", why=why), right)


_RULES: dict[str, Callable[[Values], Iterator[Problem]]] = {
    "calendar_spans": _calendar_span,
    "closures": _closure,
    "machines": _machine,
    "cutting_items": _cutting_item,
    "operations": _operation,
    "tool_life": _tool_life,
    "runs": _run,
    "gauges": _gauge,
}
