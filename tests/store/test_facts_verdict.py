"""A count that was kept aside is judged by a person; the verdict is a fact like any other."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.judge_count import CountJudged, JudgeCount, judge_count
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.clock import us_from_instant
from crib.errors import Conflict, Invalid, NotAllowed, NotKnown
from crib.store.engine import Store
from crib.store.readings import GrowingReadings, load_readings
from tests.store.conftest import Acts


def judge(
    acts: Any, verdict: str = "accepted", refusal: int = 1, by: str = "B3"
) -> CountJudged:
    return judge_count(acts.tx, acts.present, JudgeCount(refusal, verdict, by))


def rows(acts: Any) -> list[tuple[int, ...]]:
    found = acts.tx.exec_driver_sql("SELECT count, life, total FROM count_readings ORDER BY at")
    return [tuple(row) for row in found]


def test_an_accepted_count_is_taken_in_and_later_ones_are_put_right(acts: Any) -> None:
    acts.counts((0, 10), (10, 20), (11, 900), (20, 30))
    assert rows(acts) == [(10, 0, 10), (20, 0, 20), (30, 0, 30)]

    done = judge(acts)

    assert (done.total, done.count, done.machine) == (900, 900, "M1")
    assert rows(acts) == [(10, 0, 10), (20, 0, 20), (900, 0, 900), (30, 1, 930)]


def test_taking_an_accepted_count_back_leaves_everything_as_it_was(acts: Any) -> None:
    acts.counts((0, 10), (10, 20), (11, 900), (20, 30), (30, 5))
    before = rows(acts)
    done = judge(acts)

    said = reverse_fact(acts.tx, acts.present, ReverseFact(done.fact_id))

    assert "held again" in said.sentence
    assert rows(acts) == before
    assert judge(acts, "discarded").verdict == "discarded"


def test_a_discarded_count_counts_for_nothing_and_can_be_judged_again(acts: Any) -> None:
    acts.counts((0, 10), (1, 900))
    done = judge(acts, "discarded")
    with pytest.raises(Conflict, match="discarded already"):
        judge(acts)

    reverse_fact(acts.tx, acts.present, ReverseFact(done.fact_id))

    assert judge(acts).total == 900
    assert rows(acts) == [(10, 0, 10), (900, 0, 900)]


def test_what_contradicts_an_accepted_count_of_the_same_instant_is_refused(acts: Any) -> None:
    acts.counts((0, 10))
    acts.counts((0, 12))

    with pytest.raises(Conflict, match="contradicts count 10"), acts.tx.begin_nested():
        judge(acts)

    assert acts.one("SELECT count(*) FROM count_verdicts") == 0


def test_what_is_no_count_can_only_be_discarded(acts: Any) -> None:
    acts.counts((0, -3))

    with pytest.raises(Invalid, match="Discard it"):
        judge(acts)

    assert "no parts are booked from it" in judge(acts, "discarded").sentence


def test_only_a_supervisor_judges(acts: Any) -> None:
    acts.counts((0, 10), (1, 900))

    with pytest.raises(NotAllowed, match="Olek Varn is operator"):
        judge(acts, by="B2")
    with pytest.raises(Invalid, match="who decides"):
        judge_count(acts.tx, acts.present, JudgeCount(1, "accepted"))
    with pytest.raises(NotKnown):
        judge(acts, refusal=77)


def test_the_same_count_sent_again_after_it_was_accepted_is_known(acts: Any) -> None:
    acts.counts((0, 10), (1, 900))
    judge(acts)

    again = acts.counts((1, 900))

    assert (again.accepted, again.duplicates, again.refused) == (0, 1, ())


def test_a_reading_that_came_by_itself_is_never_deleted(acts: Any) -> None:
    acts.counts((0, 10), (1, 900))
    done = judge(acts)
    for where in ("count = 10", "count = 900"):
        with pytest.raises(Exception, match="append only"), acts.tx.begin_nested():
            acts.tx.exec_driver_sql(f"DELETE FROM count_readings WHERE {where}")

    reverse_fact(acts.tx, acts.present, ReverseFact(done.fact_id))

    assert rows(acts) == [(10, 0, 10)]


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.data())
def test_readings_kept_in_memory_follow_every_verdict(
    store: Store, shop: SimpleNamespace, data: st.DataObject
) -> None:
    with store.write() as tx:
        undo = tx.begin_nested()
        acts, grown, standing = Acts(tx, shop), GrowingReadings(), {}
        late = us_from_instant(acts.present)
        acts.counts((0, 10), (10, 20), (11, 900), (12, 2_000), (20, 31), (21, 950))
        for step in range(data.draw(st.integers(1, 8))):
            refusal = data.draw(st.integers(1, 3))
            if refusal in standing:
                reverse_fact(tx, acts.present, ReverseFact(standing.pop(refusal)))
            else:
                standing[refusal] = judge(acts, refusal=refusal).fact_id
            if data.draw(st.booleans()):
                acts.counts((30 + step, 40 + step))
            if data.draw(st.booleans()):
                one, other = grown.read(tx, late), load_readings(tx, late)
                assert {k: v.total.tolist() for k, v in one.items()} == {
                    k: v.total.tolist() for k, v in other.items()
                }
                assert all((one[k].at_us == other[k].at_us).all() for k in other)
        undo.rollback()
