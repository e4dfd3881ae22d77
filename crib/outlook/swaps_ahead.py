"""Every swap of a horizon, and every edge that may fail in it without one: what each needs."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, NamedTuple

import numpy as np

from crib.clock import instant_from_us
from crib.floor.timeline import us_of
from crib.left_out import NOT_WORKED_OUT
from crib.metrology.offset import measures_of_axes
from crib.outlook.out_now import BROKEN, NOW, WRONG_TOOL
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.to_put_right import DOUBTED_AGE
from crib.outlook.vacancies import EMPTY
from crib.planning.due import EARLY, MIDDLE, PROBS
from crib.planning.shelf import SwapNeed
from crib.planning.succession import MOST_IN_A_ROW
from crib.planning.swap_plan import LaterSwaps
from crib.planning.swaps import RUN_TO_FAILURE, WHYS
from crib.sentence import sentence
from crib.store.shop_records import StationOfShop

#: Rank of a swap that is neither for an empty station of a running job nor a broken edge.
LAST: Final = 2


@dataclass(frozen=True, slots=True)
class SwapAhead:
    """A swap of the horizon: what it needs, and what the list says of it.

    Attributes:
        need: What has to be there, and by when.
        forecast: Of what sits in the station now.
        sentence: Why it is due.
        cost_if_earlier_minor: Cost of swapping ``cost_step_parts`` earlier.
        cost_if_later_minor: The same later.
        cost_step_parts: Parts by which earlier and later are meant.
        standby: Whether no swap is planned, and the sister only has to be ready.
    """

    need: SwapNeed
    forecast: Forecast
    sentence: str
    cost_if_earlier_minor: int | None = None
    cost_if_later_minor: int | None = None
    cost_step_parts: int | None = None
    standby: bool = False


def rank(need: SwapNeed, now: datetime) -> int:
    """What stands before all else: a machine that lacks a tool, then an edge that broke."""
    if need.why in (EMPTY, WRONG_TOOL) and need.swap_by <= now:
        return 0
    return 1 if need.why == BROKEN else LAST


def swaps_ahead(plan: ShopPlan, until: datetime) -> list[SwapAhead]:
    """Every swap up to an instant, the most urgent first, with the forecast it comes from.

    Whatever its swap point, an edge that one in ten has outlived by then has a row: its sister
    has to be ready.
    """
    shop = plan.shop
    known = _known(plan)
    found = [_filling(one, known) for one in plan.empty if one.mounted_at <= until]
    later = _later(plan, until)
    found += _planned(plan, later, known)
    found += _broken_and_not_planned(plan, found, until, known)
    found += _ready_in_case(plan, later, until, known)
    found.sort(
        key=lambda row: (
            rank(row.need, shop.now),
            row.need.due_at if row.standby else row.need.swap_by,
            _overdue_since(row) or shop.now,
            row.need.machine,
            row.need.station_id,
            row.need.ordinal,
        )
    )
    return found


def _overdue_since(row: SwapAhead) -> datetime | None:
    return row.forecast.overdue_since if row.need.ordinal == 0 else None


def _later(plan: ShopPlan, until: datetime) -> LaterSwaps:
    horizon_us = us_of(until)
    horizon_s = [ahead.time.seconds_at(horizon_us) for ahead in plan.shop.ahead]
    return plan.swaps.up_to(horizon_us, np.array(horizon_s))


def measures_of(station: StationOfShop) -> frozenset[str]:
    """LF, WF, HF as far as the offsets of a station need them."""
    return measures_of_axes(station.axis_x, station.axis_y, station.axis_z)


class _Known(NamedTuple):
    """What the needs of all swaps are looked up in.

    Attributes:
        marks: Of holders, by id.
        measures: That a station needs, by its id.
        takes: How long a swap takes, by tool spec.
        nights: When unattended stretches begin, by machine.
    """

    marks: dict[int, str]
    measures: dict[int, frozenset[str]]
    takes: dict[str, timedelta]
    nights: dict[str, list[datetime]]


def _known(plan: ShopPlan) -> _Known:
    rows = plan.shop.rows
    nights: dict[str, list[datetime]] = defaultdict(list)
    for night in plan.nights:
        if not night.begun:
            nights[night.machine].append(instant_from_us(night.begin_us))
    return _Known(
        {row.id: row.holder for row in rows.holders},
        {row.id: measures_of(row) for row in rows.stations.values()},
        {
            one.tool_spec: timedelta(minutes=one.swap_minutes or 0)
            for one in rows.specs.values()
        },
        nights,
    )


def last_chance(swap_by: datetime, takes: timedelta, nights: Sequence[datetime]) -> datetime:
    """By when a swap has to begin to be over while somebody is there.

    Args:
        swap_by: When it is due.
        takes: How long it takes.
        nights: When unattended stretches of its machine begin.

    Returns:
        ``swap_by``, or an earlier instant where a stretch would begin during the swap.
    """
    begins = (begin - takes for begin in nights if swap_by <= begin < swap_by + takes)
    return min(begins, default=swap_by)


def _need(
    one: Forecast,
    ordinal: int,
    swap_by: datetime,
    why: str,
    known: _Known,
    ready_by: datetime | None = None,
    freed_by: datetime | None = None,
) -> SwapNeed:
    first = ordinal == 0
    return SwapNeed(
        station_id=one.station_id,
        machine=one.machine,
        station=one.station,
        tool_number=one.tool_number,
        path=one.path,
        tool_spec=one.wanted or one.tool_spec,
        assembly=one.assembly or None if first else None,
        ordinal=ordinal,
        swap_by=swap_by,
        releases_holder=known.marks.get(one.holder_id) if first else None,
        why=why,
        measures=known.measures.get(one.station_id, frozenset()),
        ready_by=ready_by,
        freed_by=freed_by,
        removal=one.out_only,
        due_since=one.due_since if first else None,
    )


def _filling(one: Forecast, known: _Known) -> SwapAhead:
    """The tool that an empty station needs."""
    return SwapAhead(_need(one, 0, one.mounted_at, EMPTY, known), one, one.why_sentence)


def _planned(plan: ShopPlan, later: LaterSwaps, known: _Known) -> Iterator[SwapAhead]:
    by_station = plan.by_station()
    foreseen = [by_station[edge.station_id] for edge in plan.edges]
    columns = zip(
        later.row.tolist(),
        later.ordinal.tolist(),
        later.seconds.tolist(),
        later.at_us.tolist(),
        later.age.tolist(),
        later.why.tolist(),
        later.stop.tolist(),
        later.cost_if_earlier.tolist(),
        later.cost_if_later.tolist(),
        later.step_parts.tolist(),
        later.ready_us.tolist(),
        strict=True,
    )
    for row, ordinal, seconds, at_us, age, why, stop, sooner, dearer, step, ready_us in columns:
        one = foreseen[row]
        if one.wanted or one.out_only:
            continue  # it has one row: out with it
        ordinal += one.why == EMPTY  # the edge that is still to be mounted is the first
        reason = one.why if ordinal == 0 and one.why in (BROKEN, DOUBTED_AGE) else WHYS[why]
        at, ready = instant_from_us(at_us), instant_from_us(ready_us)
        if reason == BROKEN:  # it cuts no part more, whoever is there
            at = plan.shop.now
        takes = known.takes.get(one.tool_spec, timedelta(0))
        begin = last_chance(at, takes, known.nights[one.machine])
        ready = min(ready, max(begin, plan.shop.now))
        need = _need(one, ordinal, at, reason, known, ready)
        if ordinal == 0:
            yield SwapAhead(
                need,
                one,
                one.why_sentence,
                one.cost_if_earlier_minor,
                one.cost_if_later_minor,
                one.cost_step_parts,
            )
        else:
            yield SwapAhead(
                need,
                one,
                plan.swaps.sentence(row, seconds, why, stop, age),
                None if sooner != sooner else round(sooner),
                round(dearer),
                math.floor(step),
            )


def _broken_and_not_planned(
    plan: ShopPlan, found: list[SwapAhead], until: datetime, known: _Known
) -> Iterator[SwapAhead]:
    """Edges on record as broken, and tools that no like one may follow, else not planned."""
    listed = {row.need.station_id for row in found if row.need.ordinal == 0}
    for one in plan.forecasts:
        if one.why == NOT_WORKED_OUT:
            continue  # the list has rows of its own for these
        comes_out = one.why in NOW or one.wanted or one.out_only
        swap_by = one.swap_by or plan.shop.now
        if comes_out and one.station_id not in listed and swap_by <= until:
            need = _need(one, 0, swap_by, one.why, known)
            yield SwapAhead(need, one, one.why_sentence)


def _ready_in_case(
    plan: ShopPlan, later: LaterSwaps, until: datetime, known: _Known
) -> Iterator[SwapAhead]:
    """Edges without a swap in the horizon of which one in ten has failed by its end."""
    by_station, due = plan.by_station(), plan.expected.due
    last: dict[int, tuple[int, float]] = {}
    for row, ordinal, second in zip(
        later.row.tolist(), later.ordinal.tolist(), later.seconds.tolist(), strict=True
    ):
        last[row] = (ordinal, second)
    run_out_us = due.run_out_us.tolist()
    for row, edge in enumerate(plan.edges):
        one = by_station[edge.station_id]
        if one.why in NOW or one.wanted or one.out_only:
            continue
        early_us, middle_us = run_out_us[row][EARLY], run_out_us[row][MIDDLE]
        if row not in last and 0 <= early_us <= us_of(until):
            yield _in_case(one, early_us, middle_us, known)
        if plan.swaps.runs_to_failure(row):
            yield from _one_after_the_other(plan, one, row, last.get(row), until, known)


def _in_case(one: Forecast, early_us: int, middle_us: int, known: _Known) -> SwapAhead:
    at = instant_from_us(early_us)
    freed = instant_from_us(middle_us) if middle_us >= 0 else None
    to_come = int(one.why == EMPTY)
    if to_come:
        need = _need(one, 1, at, WHYS[RUN_TO_FAILURE], known, None, freed)
        return SwapAhead(need, one, SPARE, standby=True)
    if one.swap_by is None:
        need = _need(one, 0, at, one.why, known, None, freed)
        return SwapAhead(need, one, one.why_sentence, standby=True)
    need = _need(one, 0, one.swap_by, one.why, known, at)
    return SwapAhead(
        need,
        one,
        one.why_sentence,
        one.cost_if_earlier_minor,
        one.cost_if_later_minor,
        one.cost_step_parts,
    )


#: Of edges that follow one that is run until it fails.
SPARE: Final = sentence("Edges here are run until they fail: by then one in ten of these has.")


def _one_after_the_other(
    plan: ShopPlan,
    one: Forecast,
    row: int,
    last: tuple[int, float] | None,
    until: datetime,
    known: _Known,
) -> Iterator[SwapAhead]:
    """Successors of edges that are run until they fail, each lasting as half of them do."""
    due, edge, shop = plan.expected.due, plan.edges[row], plan.shop
    line, time = due.lines[row], shop.ahead[edge.machine].time
    rate = float(due.wear_now[row]) or 1e-4
    early, middle = plan.model.remaining(
        [edge.key], [0.0], [rate], (PROBS[EARLY], PROBS[MIDDLE])
    ).reshape(-1)
    if last is None:
        ordinal, worn = 0, float(due.remaining[row, MIDDLE])
    else:
        ordinal, worn = last[0], line.at(last[1])
    for _ in range(MOST_IN_A_ROW):
        ordinal += 1
        at_us = time.clock_at(line.seconds_until(worn + float(early)))
        if not 0 <= at_us <= us_of(until):
            return
        worn += float(middle)
        half_us = time.clock_at(line.seconds_until(worn))
        need = _need(
            one,
            ordinal + (one.why == EMPTY),
            instant_from_us(at_us),
            WHYS[RUN_TO_FAILURE],
            known,
            None,
            instant_from_us(half_us) if half_us >= 0 else None,
        )
        yield SwapAhead(need, one, SPARE, standby=True)
