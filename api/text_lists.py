"""Lists as lines of text and as plain rows, for the command line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from api.language.sentences import in_english
from crib.acts.question import Question
from crib.clock import comes_twice
from crib.outlook.swap_rows import SwapList, SwapRow
from crib.sentence import together
from crib.store.night_rows import NightChoiceRow
from crib.views.decided_nights import decision_told
from crib.views.night_view import NightView
from crib.views.where_it_lies import Places


def local(at: datetime | None, zone: ZoneInfo) -> str:
    """An instant as people at the site read it, with the zone in the hour that comes twice."""
    if at is None:
        return ""
    there = at.astimezone(zone)
    return there.strftime("%a %d %b %H:%M %Z" if comes_twice(there) else "%a %d %b %H:%M")


def swap_rows(found: SwapList) -> list[dict[str, Any]]:
    """Swaps as the resource /v1/swap-list gives them."""
    from api.rest.plan import swap_row
    from api.schemas.views import SwapShape

    shape = SwapShape()
    return [shape.dump(swap_row(row)) for row in found.rows]


def breakage_lines(found: Iterable[Question], zone: ZoneInfo) -> Iterator[str]:
    """Breakages of nobody knows which tool, as lines."""
    for one in found:
        number = "" if one.tool_number is None else f" T{one.tool_number}"
        said = _said(one.sentence, zone)
        yield f"{local(one.since, zone)}  {one.machine}/?{number}  BROKEN  {said}"


def swap_lines(found: SwapList, zone: ZoneInfo) -> Iterator[str]:
    """Swaps as lines: when, where, what comes out, the sister's state, why."""
    for row in found.rows:
        one = row.forecast
        out = "empty" if row.fills else row.takes_out or f"successor {row.ordinal}"
        late = "  LATE" if row.late else ""
        ready = "ready by " if row.standby else ""
        yield (
            f"{ready}{local(row.swap_by, zone)}  {one.machine}/{one.station}  {out}  "
            f"{row.tool_spec}  {_sister(row, zone)}{late}{_overdue(row, zone)}  "
            f"{_said(row.why_sentence, zone)}"
        )


def night_lines(
    found: Iterable[NightView],
    places: Places,
    zone: ZoneInfo,
    decided: Sequence[NightChoiceRow] = (),
) -> Iterator[str]:
    """What to do with each machine tonight, and below it the swaps to make first.

    Args:
        found: The stretches.
        places: Where sisters lie.
        zone: The site's.
        decided: What was decided for them.
    """
    for one in found:
        told = (decision_told(decided, one), one.answer, one.reason)
        said = _said(together(" ", filter(None, told)), zone)
        yield f"{local(one.begin_at, zone)}  {one.night.machine}  {said}"
        for swap in one.swaps:
            minutes = "" if swap.minutes is None else f"  {swap.minutes:g} min"
            sister = swap.row.sister
            place = places.lies(sister) or "" if sister.assembly else ""
            yield (
                f"    {swap.forecast.station}  {swap.row.tool_spec}{minutes}  "
                f"{_sister(swap.row, zone)}  {place}".rstrip()
            )


def _overdue(row: SwapRow, zone: ZoneInfo) -> str:
    since = row.overdue_since
    return f"  overdue since {local(since, zone)}" if since else ""


def _said(sentence: str, zone: ZoneInfo) -> str:
    return in_english(sentence, lambda at: local(at, zone))


def _sister(row: SwapRow, zone: ZoneInfo) -> str:
    if row.removal:
        return "no sister needed"
    sister = row.sister
    named = sister.assembly or sister.holder or ""
    missing = _said(together("; ", (one.sentence for one in sister.missing)), zone)
    return " ".join(part for part in (sister.state, named, missing) if part)
