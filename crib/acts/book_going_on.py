"""What many machines said at once, booked at once where their counters merely go on.

The short way beside ``book_feed``: it takes only news whose outcome there is plain, and leaves
all else to it (a drop, a late or doubtful count, another counter, a long pause, a run that is
named, states, gaps).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

import numpy as np

from crib.acts.book_feed import CountNews, FeedNews, number_of, place_of
from crib.acts.counts_ahead import latest_us
from crib.arrays import Ints
from crib.clock import us_from_instant
from crib.floor.going_on import NewReadings, Windows, fastest_around, goes_on
from crib.floor.line import LONG_PAUSE_US
from crib.floor.refused import LARGEST
from crib.store.engine import Tx
from crib.store.feeds import keep_feeds
from crib.store.last_counts import FAR_US, LastCounts, last_counts, started_runs, write_counts

#: Below so many news the long way is as quick.
WORTH_IT = 8


def book_going_on(tx: Tx, present: datetime, news: Sequence[FeedNews]) -> list[bool]:
    """Book those of the news that can be booked at once; which ones these are.

    Args:
        tx: A write transaction.
        present: Now.
        news: What the feeds of several machines brought.
    """
    known = last_counts(tx)
    until_us = latest_us(present)
    often = Counter(one.machine for one in news)
    chosen, places, read = [], [], []
    for index, one in enumerate(news):
        place = known.place.get(one.machine)
        if (
            place is None
            or known.doubted[place]
            or often[one.machine] > 1
            or one.states
            or one.gap
            or one.breakages
            or one.conditions is not None
        ):
            continue
        readings = _plain(one.counts, until_us, known.sources[place])
        if readings is not None:
            chosen.append(index)
            places.append(place)
            read.append(readings)
    taken = _take(tx, present, known, np.array(places, dtype=np.int64), read)
    done, kept = [False] * len(news), []
    for index, place, good in zip(chosen, places, taken, strict=True):
        if good:
            done[index] = True
            kept.append(place_of(int(known.machine_id[place]), news[index]))
    keep_feeds(tx, kept)
    return done


_Readings = list[tuple[int, int]]


def _plain(counts: Sequence[CountNews], until_us: int, source: str | None) -> _Readings | None:
    """Instants [µs] and counts; None where one of them has to be looked at by itself."""
    readings = []
    for one in counts:
        at_us, count = us_from_instant(one.at), number_of(one.text)
        if one.run is not None or not 0 <= at_us <= until_us:
            return None
        if one.source not in (None, source):
            return None
        if not isinstance(count, int) or not 0 <= count <= LARGEST:
            return None
        readings.append((at_us, count))
    return readings


def _take(
    tx: Tx,
    present: datetime,
    known: LastCounts,
    places: Ints,
    read: Sequence[_Readings],
) -> list[bool]:
    """Write the readings of the machines whose counters go on; which these are."""
    sizes = np.array([len(one) for one in read], dtype=np.int64)
    flat = np.array([pair for one in read for pair in one], dtype=np.int64).reshape(-1, 2)
    new = NewReadings(sizes, flat[:, 0], flat[:, 1])
    last_us = known.at_us[places]
    some = sizes > 0
    from_us = last_us.copy()
    begins = some & (last_us == -FAR_US)
    from_us[begins] = new.at_us[new.first[begins]]
    fastest = fastest_around(_windows(tx, known, places, from_us), new, from_us)
    good = goes_on(new, last_us, known.said[places], fastest, known.at_once[places])
    pause = new.at_us - new.before(from_us, new.at_us)
    paused = np.repeat(np.arange(sizes.size), sizes)[pause > LONG_PAUSE_US]
    good &= np.bincount(paused, minlength=sizes.size) == 0
    told = np.repeat(good, sizes)
    writes = good & some
    if writes.any():
        made = new.said - np.repeat(known.said[places], sizes)
        total = np.repeat(known.total[places], sizes) + made
        life = np.repeat(known.life[places], sizes)
        source = np.repeat(known.source[places], sizes)
        write_counts(
            tx,
            us_from_instant(present),
            known.machine_id[places[writes]].tolist(),
            sizes[writes].tolist(),
            (new.at_us[told], new.said[told], life[told], total[told], source[told]),
        )
    return [bool(one) for one in good]


def _windows(
    tx: Tx,
    known: LastCounts,
    places: Ints,
    from_us: Ints,
) -> Windows:
    """Runs that could lie around the new readings."""
    runs = started_runs(tx, int(from_us.min(initial=FAR_US)))
    order = np.argsort(known.machine_id[places])
    reporting = known.machine_id[places][order]
    found = np.searchsorted(reporting, runs.machine_id)
    here = np.isin(runs.machine_id, reporting)
    return Windows(
        order[found[here]], runs.begin_us[here], runs.end_us[here], runs.cycle_s[here]
    )
