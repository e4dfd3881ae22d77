"""How long a machine really takes for a part, how much of its time it cuts, and its rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crib.acts.book_feed import CUTTING, SHORTEST_REST_US
from crib.arrays import Ints
from crib.clock import us_from_instant
from crib.sentence import figure, sentence
from crib.store.counts import ReadingsAround, last_totals, totals_around
from crib.store.engine import Tx
from crib.store.heard_rows import Rest, State, rests_since
from crib.store.path_counts import main_counter
from crib.store.stations import RunRow, runs_of

#: Over which time a machine is looked at.
LOOK_BACK = timedelta(hours=8)
#: Parts over which one time per part is taken: a reading a minute says little of one part.
_PARTS_AT_ONCE = 5
#: No more readings than this are looked at: a machine may tell its count every second.
_MOST_READINGS = 2_000
#: Fewer times than this are no median to go by.
_LEAST_TIMES = 3
#: A cycle time that is off by more than this share is reported.
TOLD_SHARE = 0.10


@dataclass(frozen=True, slots=True)
class CycleTimes:
    """What a machine's counter and states say of its pace over the last eight hours.

    Attributes:
        part: The part that runs; None where no run is on record as running.
        cycle_s: Seconds per part as the part's record says.
        median_s: Seconds per part as counted, rests left out; None where too few were made.
        differs_share: By which share the median is longer (below 0: shorter) than the record.
        difference: A sentence where it is off by more than a tenth.
        cutting_share: Share of the time heard in which it cut; None where it tells no states.
        rests: Stretches of a minute or more without cutting, with what the machine called it.
    """

    part: str | None
    cycle_s: float | None
    median_s: float | None
    differs_share: float | None
    difference: str | None
    cutting_share: float | None
    rests: tuple[Rest, ...]


def cycle_times(
    tx: Tx, present: datetime, machine_id: int, states: Sequence[State]
) -> CycleTimes:
    """The pace of a machine.

    Args:
        tx: An open transaction.
        present: Now.
        machine_id: The machine.
        states: What it said last.
    """
    since = present - LOOK_BACK
    rests = [*rests_since(tx, machine_id, since), *_lasting(states, present)]
    run = next((one for one in runs_of(tx, machine_id) if one.state == "running"), None)
    since_us, end_us = us_from_instant(since), us_from_instant(present)
    median = None
    counter = main_counter(tx, machine_id)
    if run is not None:
        begin_us = us_from_instant(run.start_at) if run.start_at is not None else since_us
        begin_us = max(begin_us, since_us)
        readings = last_totals(tx, counter, begin_us, end_us, _MOST_READINGS)
        median = median_seconds(readings, _spans(rests, end_us))
    first_us = totals_around(tx, counter, since_us, since_us).at_us[:1]
    differs = None if run is None or median is None else median / run.cycle_s - 1
    return CycleTimes(
        part=run.part if run else None,
        cycle_s=run.cycle_s if run else None,
        median_s=median,
        differs_share=differs,
        difference=_difference(run, median, differs),
        cutting_share=_cutting_share(states, rests, first_us.tolist(), (since_us, end_us)),
        rests=tuple(rests),
    )


def median_seconds(readings: ReadingsAround, rests: Ints) -> float | None:
    """Median seconds per part, over some parts at a time, rests left out; None for too few.

    Args:
        readings: Readings of the machine in order.
        rests: Begin and end of each rest [µs], shape (rests, 2).
    """
    # instants at which a part was done
    moved = np.flatnonzero(np.diff(readings.total) > 0) + 1
    at_us, total = readings.at_us[moved], readings.total[moved]
    seconds, place = [], 0
    for here in range(1, at_us.size):
        made = int(total[here] - total[place])
        if made < _PARTS_AT_ONCE:
            continue
        begin, end = int(at_us[place]), int(at_us[here])
        rested = np.clip(np.minimum(rests[:, 1], end) - np.maximum(rests[:, 0], begin), 0, None)
        seconds.append((end - begin - int(rested.sum())) / 1e6 / made)
        place = here
    return float(np.median(seconds)) if len(seconds) >= _LEAST_TIMES else None


def _lasting(states: Sequence[State], present: datetime) -> list[Rest]:
    """Rests that still last."""
    return [
        Rest(one.path, one.since, None, one.value)
        for one in states
        if one.kind == "EXECUTION"
        and one.value is not None
        and one.value not in CUTTING
        and (present - one.since) / timedelta(microseconds=1) >= SHORTEST_REST_US
    ]


def _spans(rests: Sequence[Rest], end_us: int) -> Ints:
    """Begin and end of the stretches in which any path rested, merged [µs]."""
    merged: list[list[int]] = []
    for rest in sorted(rests, key=lambda one: one.begins_at):
        begin = us_from_instant(rest.begins_at)
        end = end_us if rest.ends_at is None else us_from_instant(rest.ends_at)
        if merged and begin <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], end)
        else:
            merged.append([begin, end])
    return np.array(merged, dtype=np.int64).reshape(-1, 2)


def _cutting_share(
    states: Sequence[State],
    rests: Sequence[Rest],
    first_us: Sequence[int],
    window_us: tuple[int, int],
) -> float | None:
    """Share of the time, as far as it was heard, in which the first path did not rest."""
    told = [one for one in states if one.kind == "EXECUTION"]
    if not told:
        return None
    of_path = [one for one in rests if one.path == told[0].path]
    heard_us = [us_from_instant(one.begins_at) for one in of_path]
    heard_us += [us_from_instant(told[0].since), *first_us]
    begin_us, end_us = max(window_us[0], min(heard_us)), window_us[1]
    spans = np.clip(_spans(of_path, end_us), begin_us, end_us)
    rested = int((spans[:, 1] - spans[:, 0]).sum())
    return 1.0 - rested / (end_us - begin_us) if end_us > begin_us else None


def _difference(run: RunRow | None, median: float | None, differs: float | None) -> str | None:
    if run is None or median is None or differs is None or abs(differs) <= TOLD_SHARE:
        return None
    if differs > 0:
        return sentence(
            "A part of {part} takes {median} s, its record says {cycle_s} s: see "
            "what holds the machine up, or correct the record.",
            part=run.part,
            median=figure(median, ".1f"),
            cycle_s=figure(run.cycle_s, ".1f"),
        )
    return sentence(
        "A part of {part} takes {median} s, its record says {cycle_s} s: "
        "correct the record, so that swaps are not planned too late.",
        part=run.part,
        median=figure(median, ".1f"),
        cycle_s=figure(run.cycle_s, ".1f"),
    )
