"""A counter that a person set: one verdict books the parts made since, and nothing else."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.judge_count import CountJudged, JudgeCount, judge_count
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.errors import Conflict
from crib.store.checking import findings
from crib.store.verdict_rows import count_waiting
from crib.views.set_stretches import set_stretches

#: The small shop's part takes 45 s; so does each here.
CYCLE_MIN = 0.75


def made(acts: Any, first: int, parts: int, begin: float) -> float:
    """So many parts, each count told as it is shown; when the last one was."""
    for n in range(parts):
        acts.counts((begin + n * CYCLE_MIN, first + n))
    return begin + (parts - 1) * CYCLE_MIN


def total(acts: Any) -> int:
    sql = "SELECT max(total) - min(total) FROM count_readings"
    return int(acts.one(sql))


def waiting(acts: Any) -> int:
    return count_waiting(acts.tx)


def judge(acts: Any, refusal: int = 1) -> CountJudged:
    return judge_count(acts.tx, acts.present, JudgeCount(refusal, "counter_set", "B3"))


@pytest.mark.parametrize(("before", "keyed"), [(60, 30), (60, 600)])
def test_one_verdict_books_all_that_was_made_since_the_counter_was_set(
    acts: Any, before: int, keyed: int
) -> None:
    end = made(acts, before - 10, 11, 0)
    made(acts, keyed, 61, end + CYCLE_MIN)
    assert total(acts) == 10, "what goes on from counts kept aside waits with them"
    assert waiting(acts) == 61
    (stretch,) = set_stretches(acts.tx)
    assert (stretch.first.count, stretch.size) == (keyed, 61)

    done = judge(acts, stretch.first.id)

    assert (total(acts), waiting(acts), done.booked_later) == (70, 0, 60)
    acts.counts((end + 100 * CYCLE_MIN, keyed + 80))
    assert total(acts) == 90
    assert list(findings(acts.tx)) == []


def test_taking_the_verdict_back_leaves_the_counts_waiting_again(acts: Any) -> None:
    end = made(acts, 50, 11, 0)
    made(acts, 600, 30, end + CYCLE_MIN)
    done = judge(acts)
    acts.counts((end + 40 * CYCLE_MIN, 635))
    assert total(acts) == 45

    reverse_fact(acts.tx, acts.present, ReverseFact(done.fact_id))

    assert waiting(acts) == 30
    assert total(acts) == 10, "nothing explains the last count any more: it adds nothing"
    assert list(findings(acts.tx)) == []
    assert judge(acts).booked_later == 29
    assert total(acts) in (39, 45)


def test_a_single_slip_is_no_counter_that_was_set(acts: Any) -> None:
    acts.counts((0, 100), (0.75, 101), (1, 95), (1.5, 102), (2.25, 103))

    assert total(acts) == 3
    assert set_stretches(acts.tx) == []


def test_a_counter_cannot_have_been_set_to_what_contradicts_the_next_count(acts: Any) -> None:
    acts.counts((0, 100), (1, 900), (2, 102))

    with pytest.raises(Conflict, match="cannot be reached from 900"), acts.tx.begin_nested():
        judge(acts)

    assert total(acts) == 2


@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.data())
def test_parts_made_around_any_setting_are_counted_once(acts: Any, data: st.DataObject) -> None:
    first, parts = data.draw(st.integers(0, 500)), data.draw(st.integers(3, 30))
    later = data.draw(st.integers(3, 60))
    keyed = data.draw(st.integers(0, 2_000))
    point = acts.tx.begin_nested()
    try:
        end = made(acts, first, parts, 0)
        made(acts, keyed, later, end + CYCLE_MIN)

        # set to a few parts it looks like a reset, but never like more than could be made
        assert total(acts) <= 2 * (parts + later) + 1
        for stretch in set_stretches(acts.tx)[:1]:
            with suppress(Conflict):  # the reset that it looked like is accepted
                judge(acts, stretch.first.id)
            if (stretch.first.count, stretch.size) == (keyed, later):
                assert total(acts) == parts - 1 + later - 1
                assert count_waiting(acts.tx) == 0
        assert list(findings(acts.tx)) == []
    finally:
        point.rollback()
