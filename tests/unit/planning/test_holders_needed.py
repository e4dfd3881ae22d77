"""How many holders go round: counted by hand and against a clock that ticks."""

import itertools
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from crib.planning.holders_needed import HolderStock, TiedHolder, holders_needed
from crib.planning.hours import BenchHours

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def _hours(*spans):
    return BenchHours([(NOON + a * HOUR, NOON + b * HOUR) for a, b in spans], NOON)


def _need(tied, hours, owned=3, mounted=1, waiting=0):
    (row,) = holders_needed({"SQ12": HolderStock(owned, 0, mounted, waiting)}, tied, hours)
    return row


def _swap(hours, minutes=30.0, built=False, spec="TURN"):
    return TiedHolder("SQ12", spec, minutes, NOON + hours * HOUR, built)


def test_swaps_far_apart_go_round_with_one_spare_holder():
    row = _need([_swap(2), _swap(4), _swap(6)], _hours((0, 24)), owned=2)

    assert (row.needed, row.short_by, row.swaps, row.at_bench) == (2, 0, 3, 1)
    assert row.needed_at == NOON + 1.5 * HOUR
    assert "0 to spare" in row.sentence


@pytest.mark.parametrize(
    ("mounted", "told"),
    [
        (0, "None of type SQ12 is needed; 3 to spare."),
        (
            1,
            "1 of type SQ12 is needed, 1 in machines and 0 as sisters at one time; 2 to spare.",
        ),
        (
            2,
            "2 of type SQ12 are needed, 2 in machines and 0 as sisters at one time; "
            "1 to spare.",
        ),
    ],
)
def test_what_is_wanted_is_said_in_whole_sentences(mounted, told):
    assert _need([], _hours((0, 24)), mounted=mounted).sentence == told


def test_two_stations_due_at_once_want_two_sisters():
    row = _need([_swap(4), _swap(4)], _hours((0, 24)), owned=3, mounted=2)

    # one job at a time: the first begins an hour before, the second half an hour
    assert (row.needed, row.short_by) == (4, 1)
    assert row.needed_at == NOON + 3.5 * HOUR
    assert "1 more than there are" in row.sentence


def test_a_swap_before_the_bench_opens_ties_its_holder_up_over_night():
    day = _hours((0, 6), (18, 30))  # to 18:00, from 6:00 on the next day
    row = _need([_swap(17), _swap(16, spec="BORE")], day)

    assert row.needed == 3
    assert row.needed_at == NOON + 5.5 * HOUR
    assert [(s.tool_spec, s.swaps, s.most_at_once) for s in row.tool_specs] == [
        ("BORE", 1, 1),
        ("TURN", 1, 1),
    ]


def test_a_built_sister_is_tied_up_from_now_on():
    row = _need([_swap(10, built=True), _swap(20, minutes=60)], _hours((0, 24)), waiting=1)

    assert (row.needed, row.needed_at, row.waiting, row.at_bench) == (2, NOON, 1, 1)


def test_a_swap_that_is_due_now_still_wants_a_holder():
    assert _need([_swap(0)], _hours((0, 24))).needed == 2


def test_types_that_are_short_come_first():
    stocks = {"A": HolderStock(5, 1, 1, 0), "B": HolderStock(1, 0, 1, 0)}
    tied = [TiedHolder("B", "S", 10.0, NOON + HOUR, False)]
    rows = holders_needed(stocks, tied, _hours((0, 24)))

    assert [(row.holder_type, row.short_by) for row in rows] == [("B", 1), ("A", 0)]
    assert (rows[1].needed_at, rows[1].out_of_service) == (None, 1)


def _most_at_once(order, due, work):
    """Peak if the bench does the jobs in this order, each as late as it can; None: too late."""
    free, spans = 10**9, []
    for i in reversed(order):
        end = min(due[i], free)
        free = end - work[i]
        spans.append((free, due[i]))
    if free < 0:
        return None
    return max(sum(a <= minute < b for a, b in spans) for minute in range(max(due)))


@pytest.mark.parametrize("seed", range(25))
def test_no_other_order_of_the_bench_ties_up_fewer_holders(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 6))
    work = [int(rng.integers(1, 5) * 15)] * count
    due = sorted(int(rng.integers(1, 12) * 20) + sum(work) for _ in range(count))
    tied = [_swap(d / 60, minutes=float(w)) for d, w in zip(due, work, strict=True)]

    peaks = [_most_at_once(o, due, work) for o in itertools.permutations(range(count))]
    row = _need(tied, _hours((0, 100)), owned=99)

    assert row.needed == 1 + min(peak for peak in peaks if peak is not None)
