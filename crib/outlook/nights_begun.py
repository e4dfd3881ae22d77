"""Of every machine that runs with nobody there: since when, and what its edges took since."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.clock import instant_from_us
from crib.floor.timeline import us_of
from crib.outlook.expected_lives import ExpectedLives
from crib.outlook.machine_now import MachineNow
from crib.outlook.mounted_edges import unreported_wear
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.planning.night_begun import NightBegun, NightsBegun

#: Parts of what is over within which a machine is taken to cut evenly.
_POINTS: Final = 24


def nights_begun(expected: ExpectedLives) -> NightsBegun:
    """The stretches in progress, and the wear of every edge in them.

    A machine that does not tell its parts is taken to run as planned: nobody is there to count.

    Args:
        expected: The shop's edges.
    """
    shop = expected.shop
    touched, failed = _touched(shop), _failed(shop, expected.mounted)
    found = {
        machine_id: _begun(shop, machine_id, touched, failed) for machine_id in shop.machines
    }
    worn, unheard = np.zeros(len(expected.edges)), np.zeros(len(expected.edges))
    dark: list[tuple[int, Stay]] = []
    for place, stay in enumerate(expected.mounted):
        begun = found[shop.rows.stations[stay.row.station_id].machine_id]
        if begun is not None:
            since_us = max(stay.row.begin_us, begun.since_us)
            row = stay.row._replace(begin_us=since_us)
            dark.append((place, replace(stay, row=row)))
    for (place, stay), since in zip(
        dark, shop.work_out([stay.row for _, stay in dark]) if dark else [], strict=True
    ):
        cut = expected.ahead[stay.row.mount_id]
        machine_id = shop.rows.stations[stay.row.station_id].machine_id
        if cut.per_part and stay.row.broken_us is None:
            parts = _unheard_parts(shop.machines[machine_id], stay.row.begin_us, shop.now)
            unheard[place] = parts * cut.per_part[0]
        told = since.wear + unreported_wear(shop, stay, cut.per_part)
        worn[place] = told + unheard[place]
    return NightsBegun(tuple(found.values()), worn, unheard)


def _unheard_parts(machine: MachineNow, since_us: int, now: datetime) -> float:
    """Parts that a machine makes if it cuts as planned since it told its last ones.

    Those that it is believed to have made anyway are left out, and so are those before an
    instant.
    """
    if machine.running is None or machine.rest is None or machine.told.stands_since:
        return 0.0
    last_us = int(machine.output.at_us[-1]) if machine.output.at_us.size else since_us
    quiet = instant_from_us(max(last_us, since_us))
    if quiet >= now:
        return 0.0
    busy_s = machine.calendar.running_seconds(quiet, now) * machine.share.unattended
    believed = machine.rest.untold * (now - quiet) / (now - instant_from_us(last_us))
    parts = busy_s / machine.running[1].cycle_s - believed
    return min(max(parts, 0.0), machine.rest.left)


def _begun(
    shop: ShopNow,
    machine_id: int,
    touched: Mapping[int, int],
    failed: Mapping[int, list[tuple[int, int]]],
) -> NightBegun | None:
    machine, now_us = shop.machines[machine_id], us_of(shop.now)
    time = machine.ahead.time
    if not time.attended.size or time.attended[0]:
        return None
    begin = machine.calendar.unattended_since(shop.now)
    if begin is None:
        return None
    begin_us = us_of(begin)
    since_us = max(begin_us, touched.get(machine_id, begin_us))
    at_us = np.linspace(since_us, now_us, _POINTS + 1).round().astype(np.int64)
    return NightBegun(
        begin_us,
        since_us,
        at_us,
        _share_made(machine, at_us, _unheard_parts(machine, since_us, shop.now)),
        tuple(one for one, at in failed[machine_id] if at >= since_us),
    )


def _share_made(machine: MachineNow, at_us: Ints, unheard: float) -> Floats:
    """Share of the parts of a span of time that was made by each instant of it.

    What was made since the last count is spread evenly over the time since.
    """
    output = machine.output
    made = np.zeros(at_us.size)
    if output.at_us.size:
        first = max(int(np.searchsorted(output.at_us, at_us[0], side="right")) - 1, 0)
        made = np.interp(at_us, output.at_us[first:], output.total[first:])
        since_us = max(int(at_us[-1] - output.at_us[-1]), 1)
        untold = unheard + (machine.rest.untold if machine.rest else 0.0)
        made += untold * np.clip((at_us - output.at_us[-1]) / since_us, 0.0, 1.0)
    made -= made[0]
    share: Floats = made / made[-1] if made[-1] > 0 else np.linspace(0.0, 1.0, at_us.size)
    return share


def _touched(shop: ShopNow) -> dict[int, int]:
    """When somebody put a tool into each machine, or took one out, last [µs]."""
    found: dict[int, int] = {}
    for row in (*shop.rows.stays, *shop.unknown):
        station = shop.rows.stations.get(row.station_id)
        if station is not None:
            last_us = max(row.begin_us, row.end_us or 0)
            found[station.machine_id] = max(found.get(station.machine_id, 0), last_us)
    return found


def _failed(shop: ShopNow, mounted: Iterable[Stay]) -> dict[int, list[tuple[int, int]]]:
    """Stations of each machine whose edge is on record as broken, and since when [µs]."""
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for stay in mounted:
        if stay.row.broken_us is not None:
            machine_id = shop.rows.stations[stay.row.station_id].machine_id
            found[machine_id].append((stay.row.station_id, stay.row.broken_us))
    return found
