"""What then happened to edges whose forecast was kept: how far they got, and how they ended."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from crib.clock import instant_from_us
from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.life.observations import BROKEN, CENSORED, WORN
from crib.store.kept_rows import KeptForecast
from crib.store.shop_rows import StayRow
from crib.usecases.shop_view import GOES_ON, ShopView, ending
from crib.usecases.stays import work_out_stays

GOING_ON, TAKEN_OUT = "going_on", "taken_out_early"
TAKEN_BACK, FAILED_BEFORE = "taken_back", "failed_before"

#: States of forecasts that nothing can be held against.
NOT_JUDGED = frozenset({TAKEN_BACK, FAILED_BEFORE})
_ENDED = {WORN: "worn", BROKEN: "broken", CENSORED: TAKEN_OUT}

#: A failure told so soon after nobody was there happened meanwhile: common practice, no source.
_FOUND_WITHIN = timedelta(hours=1)
_LOOK_BACK = timedelta(days=3)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What followed a forecast; instants in µs, wear in the forecast's own wear units.

    Attributes:
        state: going_on, worn, broken, taken_out_early; taken_back where the mount that it was
            made for was reversed, failed_before where nobody had seen yet that it had failed.
        good_us: When the edge was last known to be good.
        failed_us: When it was known to have failed; None where it never was.
        good_wear: Wear put on from the forecast until it was last known good.
        failed_wear: Wear until it was known to have failed; infinite where it never was.
        left_us: When it left its station; None while it is there.
    """

    state: str
    good_us: int
    failed_us: int | None
    good_wear: float
    failed_wear: float
    left_us: int | None


@dataclass(frozen=True, slots=True)
class _Life:
    """An edge from a stay on: its stays, how it ended and when it was good and failed."""

    stays: tuple[StayRow, ...]
    state: str
    good_us: int
    failed_us: int | None


def outcomes(view: ShopView, kept: Sequence[KeptForecast]) -> list[Outcome]:
    """What the facts of a view say of each kept forecast, in its order.

    A failure found within an hour after nobody was there lies somewhere in that stretch. Where
    constants changed meanwhile, wear is counted in the units of the forecast.

    Args:
        view: The shop at the instant of judging.
        kept: Forecasts shown before.
    """
    lives = _lives(view, {row.mount_id for row in kept})
    pieces: list[StayRow] = []
    spans: list[tuple[slice, slice] | None] = []
    for row in kept:
        life = lives.get(row.mount_id)
        if life is None:
            spans.append(None)
            continue
        start = len(pieces)
        pieces += _pieces(life, row.at_us, life.good_us)
        middle = len(pieces)
        if life.failed_us is not None and life.failed_us > life.good_us:
            pieces += _pieces(life, max(life.good_us, row.at_us), life.failed_us)
        spans.append((slice(start, middle), slice(middle, len(pieces))))
    wear = _wear_of(view, pieces)
    found = []
    for row, span in zip(kept, spans, strict=True):
        if span is None:
            found.append(Outcome(TAKEN_BACK, row.at_us, None, 0.0, math.inf, None))
            continue
        life = lives[row.mount_id]
        unit = _unit(view, row, life.stays[0])
        good = sum(wear[span[0]]) * unit
        failed = math.inf if life.failed_us is None else good + sum(wear[span[1]]) * unit
        over = life.failed_us is not None and life.good_us < life.failed_us <= row.at_us
        found.append(
            Outcome(
                FAILED_BEFORE if over else life.state,
                max(life.good_us, row.at_us),
                life.failed_us,
                good,
                failed,
                life.stays[0].end_us,
            )
        )
    return found


def _lives(view: ShopView, mounts: set[int]) -> dict[int, _Life]:
    """The rest of the edge's life from each of these mounts on."""
    of_edge: dict[int, list[StayRow]] = defaultdict(list)
    for row in view.rows.stays:
        of_edge[row.assembly_id].append(row)
    dark: dict[tuple[int, int], tuple[int, int] | None] = {}
    found = {}
    for assembly_id, stays in of_edge.items():
        for place, stay in enumerate(stays):
            if stay.mount_id in mounts:
                found[stay.mount_id] = _life_from(view, assembly_id, stays[place:], dark)
    return found


def _life_from(
    view: ShopView,
    assembly_id: int,
    stays: Sequence[StayRow],
    dark: dict[tuple[int, int], tuple[int, int] | None],
) -> _Life:
    last, built = stays[-1], view.rows.assemblies[assembly_id]
    if last.end_us is None:
        return _Life(tuple(stays), GOING_ON, us_of(view.now), None)
    if last.reason in GOES_ON:
        state = GOING_ON if built.torn_down_us is None else TAKEN_OUT
        return _Life(tuple(stays), state, last.end_us, None)
    limit_mm = view.rows.specs[built.tool_spec_id].wear_limit_mm
    ended = ending(last.reason, last.flank_wear_tenths_um, limit_mm)
    if ended == CENSORED:
        return _Life(tuple(stays), TAKEN_OUT, last.end_us, None)
    good_us = failed_us = last.end_us
    station = view.rows.stations.get(last.station_id)
    if station is not None:
        about = (station.machine_id, last.end_us)
        if about not in dark:
            dark[about] = _dark_before(view.calendars[station.machine_id], last.end_us)
        if (unseen := dark[about]) is not None:
            good_us = max(unseen[0], last.begin_us)
            failed_us = max(min(unseen[1], last.end_us), good_us)
    return _Life(tuple(stays), _ENDED[ended], good_us, failed_us)


def _dark_before(calendar: WorkCalendar, end_us: int) -> tuple[int, int] | None:
    """The unattended stretch [µs] that a failure told then happened in, if any."""
    end_at = instant_from_us(end_us)
    stretches = calendar.stretches(end_at - _LOOK_BACK, end_at)
    if stretches and stretches[-1].attended:
        if end_at - stretches[-1].start_at > _FOUND_WITHIN:
            return None
        stretches.pop()
    if not stretches or stretches[-1].attended:
        return None
    return us_of(stretches[-1].start_at), us_of(stretches[-1].end_at)


def _pieces(life: _Life, from_us: int, to_us: int) -> list[StayRow]:
    """The edge's time in stations between two instants."""
    found = []
    for stay in life.stays:
        begin = max(stay.begin_us, from_us)
        end = to_us if stay.end_us is None else min(stay.end_us, to_us)
        if begin < end:
            found.append(stay._replace(begin_us=begin, end_us=end))
    return found


def _wear_of(view: ShopView, pieces: Sequence[StayRow]) -> list[float]:
    began = {
        machine_id: sorted(
            (run for run in view.rows.runs.get(machine_id, ()) if run.state != "planned"),
            key=lambda run: run.start_at or 0,
        )
        for machine_id in view.rows.machines
    }
    rows = replace(view.rows, stays=list(pieces))
    worked = work_out_stays(rows, view.cutting, view.outputs, began, us_of(view.now))
    return [stay.wear for stay in worked]


def _unit(view: ShopView, row: KeptForecast, stay: StayRow) -> float:
    """Wear units of the forecast per wear unit of today: constants may have changed."""
    built = view.rows.assemblies[row.assembly_id]
    if stay.station_id not in view.rows.stations:
        return 1.0
    take = view.cutting.per_part(
        stay.station_id, row.part_id, built.tool_spec_id, built.cutting_item_id
    )
    return row.wear_per_part / take.wear if take is not None and take.wear > 0 else 1.0
