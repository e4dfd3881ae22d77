"""Tools that come out before anything else is made: broken edges, and what cannot run there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Final, NamedTuple

from crib.clock import instant_from_us, print_instant
from crib.usecases.left_out import NOT_WORKED_OUT
from crib.usecases.shop_view import ShopView
from crib.usecases.vacancies import open_stays, runs_by_need

if TYPE_CHECKING:
    from crib.usecases.forecast import Forecast

#: Why an edge is due that is on record as broken.
BROKEN: Final = "broken"
#: Why a tool comes out that is neither worn nor broken: what runs cannot use it there.
WRONG_TOOL: Final = "wrong_tool"
NOW: Final = (BROKEN, WRONG_TOOL)


class Wanted(NamedTuple):
    """What goes into a station in place of the tool that it holds.

    Attributes:
        part: What runs.
        tool_spec: What its program names there; the first, where its lines name several.
    """

    part: str
    tool_spec: str


def wanted_instead(view: ShopView) -> dict[int, Wanted]:
    """By station: what the run on its machine needs there, where none of its number holds it.

    As the check of a mount sees it: what runs decides, unless it is made. A station that the
    run does not use may hold what it likes.
    """
    held: dict[int, dict[tuple[int, int], dict[int, int]]] = defaultdict(
        lambda: defaultdict(dict)
    )
    for row in open_stays(view):
        station = view.rows.stations.get(row.station_id)
        built = view.rows.assemblies.get(row.assembly_id)
        if station is not None and built is not None:
            place = station.path or 1, station.tool_number
            held[station.machine_id][place][station.id] = built.tool_spec_id
    found: dict[int, Wanted] = {}
    for machine_id, places in held.items():
        if machine_id in view.left_out.machines or machine_id not in view.ahead_parts:
            continue
        runs = runs_by_need(view, machine_id)
        on = next(((one, number) for one, number, running, at in runs if running and at), None)
        if on is None:
            continue
        for (path, tool_number), stations in places.items():
            specs = view.cutting.specs_wanted(on[1], path, tool_number)
            if specs and not any(one in specs for one in stations.values()):
                wanted = Wanted(on[0], view.rows.specs[specs[0]].tool_spec)
                found |= dict.fromkeys(stations, wanted)
    return found


def with_broken(view: ShopView, forecasts: Sequence[Forecast]) -> list[Forecast]:
    """The forecasts, those of edges that are on record as broken said to be out now."""
    broken = {
        stay.row.station_id: stay.row.broken_us
        for stay in view.stays
        if stay.row.end_us is None and stay.row.broken_us is not None
    }
    found = []
    for one in forecasts:
        at_us = broken.get(one.station_id)
        found.append(one if at_us is None else _broken(one, view.now, instant_from_us(at_us)))
    return found


def _broken(one: Forecast, now: datetime, at: datetime) -> Forecast:
    known = replace(
        one,
        parts_left=dict.fromkeys(one.parts_left, 0),
        run_out_at=dict.fromkeys(one.run_out_at, at),
        fail_probability_shift=1.0,
        fail_probability_unattended=1.0,
    )
    return _out_now(
        known,
        now,
        BROKEN,
        f"A breakage was signalled at {print_instant(at)}: stop the machine by its own "
        "rules, swap the edge now, and look at the parts made since.",
    )


def _out_now(one: Forecast, now: datetime, why: str, sentence: str) -> Forecast:
    return replace(
        one,
        swap_after_parts=0,
        swap_by=now,
        why=why,
        why_sentence=sentence,
        cost_if_earlier_minor=None,
        cost_if_later_minor=None,
    )


def with_wrong_tools(view: ShopView, forecasts: Sequence[Forecast]) -> list[Forecast]:
    """The forecasts, those of tools that what runs cannot use there said to be out now."""
    wanted, found = wanted_instead(view), []
    for one in forecasts:
        needs = wanted.get(one.station_id)
        if needs is None or one.why == NOT_WORKED_OUT:
            found.append(one)
            continue
        told = f"{needs.part} runs and needs {needs.tool_spec} here"
        if one.why == BROKEN:
            why, sentence = BROKEN, f"{one.why_sentence} {told}."
        else:
            why = WRONG_TOOL
            sentence = (
                f"It holds {one.assembly} ({one.tool_spec}), but {told}: take it out and mount "
                "that. Where it is mounted already, scan it."
            )
        out = _out_now(one, view.now, why, sentence)
        found.append(replace(out, wanted=needs.tool_spec))
    return found
