"""A counter that a person tells beforehand to have set: the next count goes on from there."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.acts.tell_counter_set import CounterSetTold, TellCounterSet, tell_counter_set
from crib.errors import Conflict, Invalid
from crib.store.checking import findings
from crib.store.verdict_rows import count_waiting, judged_counts

#: The small shop's part takes 45 s; so does each here.
CYCLE_MIN = 0.75


def tell(acts: Any, minutes: float | None, count: Any, **values: Any) -> CounterSetTold:
    at = None if minutes is None else acts.at(minutes)
    command = TellCounterSet("M1", count, by="B1", at=at, **values)
    return tell_counter_set(acts.tx, acts.present, command)


def made(acts: Any, first: int, parts: int, begin: float) -> float:
    """So many counts, each told as it is shown; when the next one would be."""
    for n in range(parts):
        acts.counts((begin + n * CYCLE_MIN, first + n))
    return begin + parts * CYCLE_MIN


def total(acts: Any) -> int:
    return int(acts.one("SELECT max(total) - min(total) FROM count_readings"))


BOTH = pytest.mark.parametrize(
    ("shown", "keyed"), [(900, 500), (500, 900), (900, 3), (900, 905), (900, 0), (900, 900)]
)


@BOTH
def test_told_beforehand_the_next_count_goes_on_from_there(
    acts: Any, shown: int, keyed: int
) -> None:
    end = made(acts, shown - 10, 11, 0)
    done = tell(acts, end - 0.5, keyed)
    assert (done.shown, total(acts)) == (False, 10)

    made(acts, keyed + 1, 40, end)

    assert (total(acts), count_waiting(acts.tx)) == (50, 0)


@BOTH
def test_told_when_the_machine_has_gone_on_all_made_since_is_booked(
    acts: Any, shown: int, keyed: int
) -> None:
    end = made(acts, shown - 10, 11, 0)
    made(acts, keyed + 1, 40, end)

    done = tell(acts, end - 0.5, keyed)

    assert done.shown
    assert (total(acts), count_waiting(acts.tx)) == (50, 0)
    acts.counts((end + 49 * CYCLE_MIN, keyed + 50))
    assert total(acts) == 60


@pytest.mark.parametrize("keyed", [500, 2_000])
@pytest.mark.parametrize("off", [-20, 20])
def test_it_may_be_done_somewhat_earlier_or_later_than_told(
    acts: Any, off: float, keyed: int
) -> None:
    end = made(acts, 890, 11, 0)
    tell(acts, end - 0.5 + off, keyed)

    made(acts, keyed + 1, 60, end)

    assert (total(acts), count_waiting(acts.tx)) == (70, 0)


@pytest.mark.parametrize("keyed", [500, 2_000])
def test_told_afterwards_without_a_time_it_began_with_the_counts_kept_aside(
    acts: Any, keyed: int
) -> None:
    end = made(acts, 890, 11, 0)
    last = made(acts, keyed + 1, 30, end)
    acts.present = acts.at(last)

    done = tell(acts, None, keyed)

    assert (done.shown, done.booked_later) == (True, 30)
    assert (total(acts), count_waiting(acts.tx)) == (40, 0)


@pytest.mark.parametrize("keyed", [100, 904, 5_000])
def test_told_but_never_done_nothing_changes(acts: Any, keyed: int) -> None:
    end = made(acts, 890, 11, 0)
    tell(acts, end + 4 * CYCLE_MIN + 0.1, keyed)

    made(acts, 901, 60, end)

    # of a count that both could show the person is believed once: a part is told twice at most
    assert total(acts) - 70 in (0, 1)
    assert count_waiting(acts.tx) == 0


@pytest.mark.parametrize("keyed", [3, 500, 2_000])
def test_taken_back_the_counts_are_as_if_it_had_not_been_told(acts: Any, keyed: int) -> None:
    end = made(acts, 890, 11, 0)
    done = tell(acts, end - 0.5, keyed)

    reverse_fact(acts.tx, acts.present, ReverseFact(done.fact_id))

    made(acts, keyed + 1, 30, end)
    aside, booked = count_waiting(acts.tx), total(acts)
    assert booked == (10 if keyed > 3 else 43), "a drop to a few parts looks like a reset"
    again = tell(acts, end - 0.5, keyed)
    assert total(acts) == 40
    reverse_fact(acts.tx, acts.present, ReverseFact(again.fact_id))
    assert (total(acts), count_waiting(acts.tx)) == (booked, aside)
    assert [one.reason for one in judged_counts(acts.tx)] == []


def test_taken_back_after_it_was_shown_only_the_jump_is_unexplained(acts: Any) -> None:
    end = made(acts, 890, 11, 0)
    done = tell(acts, end - 0.5, 2_000)
    made(acts, 2_001, 30, end)
    assert total(acts) == 40

    reverse_fact(acts.tx, acts.present, ReverseFact(done.fact_id))

    assert total(acts) == 39, "what explained the jump is gone: it makes nothing"
    assert list(findings(acts.tx)) == []


def test_the_same_told_twice_is_told_once(acts: Any) -> None:
    end = made(acts, 890, 11, 0)
    first = tell(acts, end, 500)

    again = tell(acts, end, 500)
    with pytest.raises(Conflict, match="already announced"):
        tell(acts, end + 1, 500)

    assert (again.fact_id, again.on_record) == (first.fact_id, True)


@pytest.mark.parametrize("count", [-1, True, 1.5, "7", 10**15])
def test_a_counter_cannot_be_set_to_what_it_cannot_show(acts: Any, count: Any) -> None:
    with pytest.raises(Invalid):
        tell(acts, 0, count)


def test_a_setting_far_ahead_of_an_unknown_path_or_by_nobody_is_refused(acts: Any) -> None:
    with pytest.raises(Invalid, match="days before"):
        tell_counter_set(
            acts.tx,
            acts.present,
            TellCounterSet("M1", 1, by="B1", at=acts.present + timedelta(days=8)),
        )
    with pytest.raises(Invalid, match="Say who"):
        tell_counter_set(acts.tx, acts.present, TellCounterSet("M1", 1))
    with pytest.raises(Conflict, match="path 2"):
        tell(acts, 0, 1, path=2)


World = list[tuple[float, int]]


def _world(data: st.DataObject) -> tuple[World, list[tuple[float, int]], int]:
    """Counts as a counter showed them, settings of it, parts made since the first count."""
    shown = data.draw(st.integers(0, 1_000))
    counts, told, parts, now = [(0.0, shown)], [], 0, 0.0
    acts = st.sampled_from(["part"] * 6 + ["reset", "set"])
    for act in data.draw(st.lists(acts, min_size=5, max_size=30)):
        now += CYCLE_MIN
        if act == "set":
            before = {count for _, count in told}  # the same told close by is refused
            shown = data.draw(
                st.integers(0, 2_000).filter(lambda one, before=before: one not in before)
            )
            told.append((now - 0.3, shown))
        elif act == "reset" and shown > 1:  # else nobody can see it
            shown = 0
        shown, parts = shown + 1, parts + 1
        counts.append((now, shown))
    return counts, told, parts


@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.data())
def test_all_that_was_made_is_charged_once_whatever_comes_late_or_twice(
    acts: Any, data: st.DataObject
) -> None:
    counts, told, parts = _world(data)
    draw = random.Random(data.draw(st.integers(0, 2**32)))  # noqa: S311 - no secret
    late = data.draw(st.sampled_from([0, 1, 5]))
    sent = sorted(
        counts[1:] + draw.sample(counts, len(counts) // 3),
        key=lambda one: one[0] + draw.uniform(0, late) * CYCLE_MIN,
    )
    point = acts.tx.begin_nested()
    try:
        acts.counts(counts[0])
        for minutes, count in told:
            tell(acts, minutes, count)
        while sent:
            size = draw.randint(1, 4)
            acts.counts(*sent[:size])
            sent = sent[size:]

        assert total(acts) == parts
        assert count_waiting(acts.tx) == 0
        assert list(findings(acts.tx)) == []
    finally:
        point.rollback()
