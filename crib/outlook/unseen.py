"""What nobody saw: the unattended stretch in which a failure found later really happened."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from crib.arrays import Ints
from crib.clock import instant_from_us
from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.life.observations import CENSORED
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.stock.assembly import STAYS_BUILT
from crib.store.machine_rows import StayRow

#: A failure reported this soon after an unattended stretch happened in it: common practice,
#: no source.
FOUND_WITHIN = timedelta(hours=1)
_LOOK_BACK = timedelta(days=3)
_YEAR = timedelta(days=360)


def last_good_us(calendar: WorkCalendar, found_us: Ints) -> Ints:
    """When somebody last could see the edge good, before a failure was found.

    Args:
        calendar: Hours of the machine.
        found_us: When failures were reported, rising, shape (failures,) [µs].

    Returns:
        The begin of the unattended stretch that a failure was found in or within an hour
        after; the instant itself where somebody was there all along.
    """
    good = found_us.copy()
    place = 0
    while place < len(found_us):
        first = instant_from_us(int(found_us[place])) - _LOOK_BACK
        upto = int(np.searchsorted(found_us, us_of(first + _YEAR), side="left"))
        upto = max(upto, place + 1)
        last = instant_from_us(int(found_us[upto - 1])) + timedelta(microseconds=1)
        stretches = calendar.stretches(first, last)
        begin = np.array([us_of(one.start_at) for one in stretches], dtype=np.int64)
        dark = np.array([not one.attended for one in stretches], dtype=np.bool_)
        for row in range(place, upto):
            at = int(np.searchsorted(begin, found_us[row], side="right")) - 1
            if at >= 0 and not dark[at]:
                soon = found_us[row] - begin[at] <= FOUND_WITHIN / timedelta(microseconds=1)
                at = at - 1 if soon else -1
            if at >= 0 and dark[at]:
                good[row] = begin[at]
        place = upto
    return good


def seen_last(shop: ShopNow) -> dict[int, Stay]:
    """Stays that ended in a failure nobody saw, as they were when last seen good, by mount id.

    A stay that began in the dark stretch itself was good when it began.
    """
    calendars: dict[int, list[StayRow]] = {}
    for stay in shop.stays:
        row = stay.row
        station = shop.rows.stations.get(row.station_id)
        if row.end_us is None or row.reason in STAYS_BUILT or station is None:
            continue
        if row.broken_us is not None:
            continue  # something watched it, and said when
        if shop.ending(row) != CENSORED:
            calendars.setdefault(station.machine_id, []).append(row)
    cut: list[StayRow] = []
    for machine_id, rows in calendars.items():
        rows.sort(key=lambda row: row.end_us or 0)
        found_us = np.array([row.end_us for row in rows], dtype=np.int64)
        good = last_good_us(shop.machines[machine_id].calendar, found_us)
        cut += [
            row._replace(end_us=max(at, row.begin_us))
            for row, at in zip(rows, good.tolist(), strict=True)
            if at < (row.end_us or 0)
        ]
    return stays_up_to(shop, cut)


def stays_up_to(shop: ShopNow, rows: Sequence[StayRow]) -> dict[int, Stay]:
    """What stays took, worked out as if they had ended when these rows say, by mount id."""
    if not rows:
        return {}
    return {stay.row.mount_id: stay for stay in shop.work_out(rows)}
