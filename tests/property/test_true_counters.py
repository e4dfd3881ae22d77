"""What a counter really did is found again in what arrived of its readings.

The counter is simulated cycle by cycle, apart from the code that reads it: it is set to zero
at job changes, at midnight and by hand, or runs over its end, and goes up by as many parts
as a cycle makes. Of its readings some are lost, some come late, twice or out of order.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from crib.floor.count import KnownCounts, absorb
from crib.planning.output import machine_output

CYCLE_S = 20
DAY_S = 86_400
#: Room below the counter's end in which nobody sets it to zero: a reset there looks like a
#: rollover, and no reading can tell them apart.
_SAFE = 9_000


class Told(NamedTuple):
    """One reading of the simulated counter, and what was true when it was taken."""

    at_s: int
    count: int
    made: int
    zeroed_by_hand: int
    ran_over: int


class Counter:
    """A part counter on a machine that makes ``at_once`` parts in each cycle of 20 s."""

    def __init__(self, at_s: int, count: int, limit: int | None, at_once: int) -> None:
        self.at_s, self.count, self.limit, self.at_once = at_s, count, limit, at_once
        self.made = self.zeroed = self.over = 0

    def cycle(self) -> None:
        self.at_s += CYCLE_S
        self.made += self.at_once
        self.count += self.at_once
        if self.limit is not None and self.count > self.limit:
            self.count -= self.limit + 1
            self.over += 1

    def rest(self, seconds: int, *, zero_at_midnight: bool) -> None:
        day = self.at_s // DAY_S
        self.at_s += seconds
        if zero_at_midnight and self.at_s // DAY_S > day:
            self.zero()

    def zero(self) -> None:
        if self.count:
            self.count = 0
            self.zeroed += 1

    def tell(self) -> Told:
        return Told(self.at_s, self.count, self.made, self.zeroed, self.over)


@st.composite
def _histories(draw: st.DrawFn) -> tuple[list[Told], int]:
    """Readings of one counter in order, and the parts of a cycle."""
    at_once = draw(st.sampled_from([1, 1, 2, 3, 8]))
    limit = draw(st.sampled_from([None, 9_999, 65_535]))
    midnight = limit is None and draw(st.booleans())
    near_end = draw(st.integers(0, 60))
    first = draw(st.integers(0, 500)) if limit is None else limit - near_end
    counter = Counter(draw(st.integers(0, DAY_S)), first, limit, at_once)
    told = [counter.tell()]
    for _ in range(draw(st.integers(1, 20))):
        for _ in range(draw(st.integers(0, 12))):
            counter.cycle()
        acts = ["rest", "read", "read"]
        if limit is None and counter.count < _SAFE:
            acts += ["by hand", "job change"]
        match draw(st.sampled_from(acts)):
            case "rest":
                counter.rest(draw(st.integers(1, 40_000)), zero_at_midnight=midnight)
            case "by hand":
                counter.rest(draw(st.integers(1, 20)), zero_at_midnight=midnight)
                counter.zero()
            case "job change":
                counter.rest(draw(st.integers(600, 9_000)), zero_at_midnight=midnight)
                counter.zero()
        counter.rest(1, zero_at_midnight=midnight)
        told.append(counter.tell())
    return told, at_once


def _take(told: list[list[Told]], at_once: int) -> np.ndarray:
    """What is known after batches: columns at, count, life, total."""
    rows = np.empty((0, 4), dtype=np.int64)
    for batch in told:
        at = np.array([one.at_s * 1_000_000 for one in batch], dtype=np.int64)
        count = np.array([one.count for one in batch], dtype=np.int64)
        low = max(0, int(np.searchsorted(rows[:, 0], at.min())) - 1)
        high = int(np.searchsorted(rows[:, 0], at.max(), side="right")) + 1
        done = absorb(
            KnownCounts(*rows[low:high].T), at, count, CYCLE_S, parts_per_cycle=at_once
        )
        assert done.refused == ()
        rows[low:high, 2:] = np.column_stack([done.known_life, done.known_total])
        rows[high:, 2:] += [done.tail_life_shift, done.tail_total_shift]
        new = np.column_stack([done.at_us, done.count, done.life, done.total])
        rows = np.concatenate([rows, new])
        rows = rows[np.argsort(rows[:, 0])]
    return rows


def _tellable(before: Told, after: Told) -> int:
    """Parts between two readings, as far as these two can tell."""
    if after.zeroed_by_hand == before.zeroed_by_hand:
        return after.made - before.made  # also where the counter ran over its end
    if after.count < before.count:
        return after.count  # parts since zero; what came before it nobody read
    return after.count - before.count  # made good since: the reset shows nowhere


@given(st.data())
def test_every_part_that_the_readings_can_tell_is_counted_once(data: st.DataObject) -> None:
    told, at_once = data.draw(_histories())
    arrived = data.draw(st.lists(st.sampled_from(told), min_size=1, max_size=2 * len(told)))
    batches, rest = [], list(arrived)
    while rest:
        size = data.draw(st.integers(1, len(rest)))
        batches.append(rest[:size])
        rest = rest[size:]
    clean = sorted(set(arrived))

    found = _take(batches, at_once)

    assert (found == _take([clean], at_once)).all()
    assert found[:, 0].tolist() == [one.at_s * 1_000_000 for one in clean]
    steps = [_tellable(before, after) for before, after in pairwise(clean)]
    assert np.diff(found[:, 3]).tolist() == steps


@given(st.data())
def test_edges_that_follow_each_other_are_charged_every_part_of_a_clean_counter(
    data: st.DataObject,
) -> None:
    told, at_once = data.draw(_histories())
    lost = [after.zeroed_by_hand > before.zeroed_by_hand for before, after in pairwise(told)]
    swaps = data.draw(st.lists(st.sampled_from(told), max_size=4))
    rows = _take([told], at_once)
    output = machine_output(rows[:, 0], rows[:, 3], np.full(len(rows), -1), [], [])
    bounds = sorted({one.at_s for one in swaps} | {told[0].at_s, told[-1].at_s})

    made = np.diff(output.total_at(np.array(bounds, dtype=np.int64) * 1_000_000))

    at = {one.at_s: place for place, one in enumerate(told)}
    for parts, (begin, end) in zip(made.tolist(), pairwise(bounds), strict=True):
        if not any(lost[at[begin] : at[end]]):
            assert parts == told[at[end]].made - told[at[begin]].made


def test_a_cycle_of_eight_parts_is_believed_in_the_second_in_which_it_ends() -> None:
    at = np.array([19, 20]) * 1_000_000

    one = absorb(KnownCounts.none(), at, [16, 24], CYCLE_S)
    eight = absorb(KnownCounts.none(), at, [16, 24], CYCLE_S, parts_per_cycle=8)

    assert [row.reason for row in one.refused] == ["too_fast"]
    assert eight.refused == ()
    assert eight.total.tolist() == [16, 24]


def test_of_eight_parts_at_once_a_ninth_is_still_a_slip() -> None:
    at = np.array([19, 20]) * 1_000_000

    taken = absorb(KnownCounts.none(), at, [16, 25], CYCLE_S, parts_per_cycle=8)

    assert "at most 8" in taken.refused[0].sentence
