"""What then happened to edges whose forecast was kept: how far they got, and how they ended."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crib.clock import instant_from_us
from crib.floor.timeline import us_of
from crib.life.observations import BROKEN, CENSORED, WORN
from crib.outlook.shop_now import ShopNow
from crib.outlook.stretches_run import StretchesRun
from crib.outlook.unseen import last_good_us
from crib.stock.assembly import STAYS_BUILT
from crib.store.kept_rows import KeptForecast
from crib.store.machine_rows import StayRow

GOING_ON, TAKEN_OUT = "going_on", "taken_out_early"
TAKEN_BACK, FAILED_BEFORE = "taken_back", "failed_before"

#: States of forecasts that cannot be judged.
NOT_JUDGED = frozenset({TAKEN_BACK, FAILED_BEFORE})
_ENDED = {WORN: "worn", BROKEN: "broken", CENSORED: TAKEN_OUT}
_FAILED = frozenset({_ENDED[WORN], _ENDED[BROKEN]})


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
        machine_id: The machine it was in; None where that was taken back.
        ran: Share of the unattended stretch spoken of that the machine cut for; 1 where
            nobody knows.
        unit: Wear units of the forecast per wear unit of today; constants may have changed.
    """

    state: str
    good_us: int
    failed_us: int | None
    good_wear: float
    failed_wear: float
    left_us: int | None
    machine_id: int | None = None
    ran: float = 1.0
    unit: float = 1.0


@dataclass(frozen=True, slots=True)
class _Life:
    """An edge from a stay on: its stays, how it ended and when it was good and failed."""

    stays: tuple[StayRow, ...]
    state: str
    good_us: int
    failed_us: int | None


def outcomes(shop: ShopNow, kept: Sequence[KeptForecast]) -> list[Outcome]:
    """What the shop's facts say of each kept forecast, in its order.

    A failure found within an hour after nobody was there lies somewhere in that stretch. Where
    constants changed meanwhile, wear is counted in the units of the forecast.

    Args:
        shop: The shop at the instant of judging.
        kept: Forecasts shown before.
    """
    lives = _lives(shop, {row.mount_id for row in kept})
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
    wear = [stay.wear for stay in shop.work_out(pieces)]
    ran = StretchesRun(shop)
    found = []
    for row, span in zip(kept, spans, strict=True):
        if span is None:
            found.append(Outcome(TAKEN_BACK, row.at_us, None, 0.0, math.inf, None))
            continue
        life = lives[row.mount_id]
        unit = _unit(shop, row, life.stays[0])
        good = sum(wear[span[0]]) * unit
        failed = math.inf if life.failed_us is None else good + sum(wear[span[1]]) * unit
        over = life.failed_us is not None and life.good_us < life.failed_us <= row.at_us
        station = shop.rows.stations.get(life.stays[0].station_id)
        machine_id = station.machine_id if station is not None else None
        found.append(
            Outcome(
                FAILED_BEFORE if over else life.state,
                max(life.good_us, row.at_us),
                life.failed_us,
                good,
                failed,
                life.stays[0].end_us,
                machine_id,
                ran.share(machine_id, row.unattended_begins_us, row.unattended_ends_us),
                unit,
            )
        )
    return found


def _lives(shop: ShopNow, mounts: set[int]) -> dict[int, _Life]:
    """The rest of the edge's life from each of these mounts on."""
    of_edge: dict[int, list[StayRow]] = defaultdict(list)
    wanted = {row.assembly_id for row in shop.rows.stays if row.mount_id in mounts}
    for row in shop.rows.stays:
        if row.assembly_id in wanted:
            of_edge[row.assembly_id].append(row)
    states = {assembly_id: _state(shop, stays[-1]) for assembly_id, stays in of_edge.items()}
    unseen = _unseen(shop, [of_edge[edge][-1] for edge in wanted if states[edge] in _FAILED])
    found = {}
    for assembly_id, stays in of_edge.items():
        last, state = stays[-1], states[assembly_id]
        end_us = us_of(shop.now) if last.end_us is None else last.end_us
        good_us, failed_us = unseen.get(last.mount_id, (end_us, end_us))
        over = failed_us if state in _FAILED else None
        for place, stay in enumerate(stays):
            if stay.mount_id in mounts:
                found[stay.mount_id] = _Life(tuple(stays[place:]), state, good_us, over)
    return found


def _state(shop: ShopNow, last: StayRow) -> str:
    built = shop.rows.assemblies[last.assembly_id]
    if last.end_us is None or (last.reason in STAYS_BUILT and built.torn_down_us is None):
        return GOING_ON
    return _ENDED[shop.ending(last)]


def _unseen(shop: ShopNow, failed: Sequence[StayRow]) -> dict[int, tuple[int, int]]:
    """Stretches [µs] that nobody saw the failure of an edge in, by its last mount."""
    of_machine: dict[int, list[StayRow]] = defaultdict(list)
    for row in failed:
        station = shop.rows.stations.get(row.station_id)
        if station is not None and row.broken_us is None:
            of_machine[station.machine_id].append(row)
    found: dict[int, tuple[int, int]] = {}
    for machine_id, rows in of_machine.items():
        rows.sort(key=lambda row: row.end_us or 0)
        calendar = shop.machines[machine_id].calendar
        end_us = [row.end_us or 0 for row in rows]
        good_us = last_good_us(calendar, np.array(end_us, dtype=np.int64)).tolist()
        for row, good, end in zip(rows, good_us, end_us, strict=True):
            if good < end:
                dark = calendar.next_unattended(instant_from_us(good))
                light = us_of(dark.end_at) if dark else end
                begin = max(good, row.begin_us)
                found[row.mount_id] = (begin, max(begin, min(light, end)))
    return found


def _pieces(life: _Life, from_us: int, to_us: int) -> list[StayRow]:
    """The edge's time in stations between two instants."""
    found = []
    for stay in life.stays:
        begin = max(stay.begin_us, from_us)
        end = to_us if stay.end_us is None else min(stay.end_us, to_us)
        if begin < end:
            found.append(stay._replace(begin_us=begin, end_us=end))
    return found


def _unit(shop: ShopNow, row: KeptForecast, stay: StayRow) -> float:
    built = shop.rows.assemblies[row.assembly_id]
    if stay.station_id not in shop.rows.stations:
        return 1.0
    take = shop.cutting.per_part(
        stay.station_id, row.part_id, built.tool_spec_id, built.cutting_item_id
    )
    return row.wear_per_part / take.wear if take is not None and take.wear > 0 else 1.0
