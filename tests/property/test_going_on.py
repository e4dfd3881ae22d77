"""News of many machines booked at once, against the same news booked one by one."""

from __future__ import annotations

from contextlib import suppress
from datetime import timedelta
from types import SimpleNamespace

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from crib.acts.book_feed import CountNews, FeedNews, book_feed
from crib.acts.book_going_on import book_going_on
from crib.records.catalogue import MACHINES, RUNS
from crib.store.engine import Store, Tx
from crib.store.records import insert_record

MANY = ("A1", "A2", "A3", "A4", "A5", "A6")


class _Undo(Exception):  # noqa: N818 - not an error: leaves the database as it was
    pass


#: A run of a part that takes 45 s: begins at which minute (None: nobody said), lasts how long.
_ENDED = st.tuples(st.none() | st.integers(-200, 200), st.none() | st.integers(1, 200))
_RUNS = st.tuples(
    st.lists(_ENDED, max_size=2, unique_by=lambda run: run[0]),
    st.sampled_from(("planned", "running", None)),
)


@st.composite
def _counters(draw: st.DrawFn) -> list[list[tuple[int, int, str]]]:
    """What a counter says in three rounds, mostly forward: (half minutes, ms, text)."""
    rounds, at, count = [], draw(st.integers(0, 20)), draw(st.integers(0, 9_999))
    for _ in range(3):
        told = []
        for _ in range(draw(st.integers(0, 3))):
            at += draw(st.integers(0, 9) | st.just(1) | st.just(-5))
            count = draw(
                st.just(count + 1)
                | st.integers(count, count + 12)
                | st.integers(0, 5)
                | st.just(count)
            )
            text = draw(st.just(str(count)) | st.sampled_from((f"{count}.0", f" {count}", "x")))
            told.append((at, draw(st.integers(0, 2)), text))
        rounds.append(told)
    return rounds


@st.composite
def _shops(draw: st.DrawFn):
    return [
        (draw(st.sampled_from((None, 1, 2, 4))), draw(_RUNS), draw(_counters()))
        for _ in MANY[: draw(st.integers(1, len(MANY)))]
    ]


def _rows(tx: Tx) -> list[list[tuple[object, ...]]]:
    queries = (
        "SELECT machine_id, at, count, life, total, run_id FROM count_readings ORDER BY 1, 2",
        "SELECT machine_id, at, reason FROM count_refusals ORDER BY 1, 2, 3",
        "SELECT machine_id, source, state, problem, heard_at, counted_at, lag_us, instance_id,"
        " next_sequence FROM feeds ORDER BY 1",
        "SELECT b.machine_id, b.accepted, b.duplicates, b.refused, f.at, f.recorded_at, f.kind"
        " FROM count_batches AS b JOIN facts AS f ON f.id = b.fact_id ORDER BY 1, f.id",
    )
    return [[tuple(row) for row in tx.exec_driver_sql(query)] for query in queries]


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(_shops(), st.integers(0, 6))
def test_at_once_is_one_by_one(
    shop: SimpleNamespace, store: Store, machines, twice: int
) -> None:
    present = shop.start + timedelta(minutes=30)
    at_once_booked = 0
    with suppress(_Undo), store.write() as tx:
        for name, (at_once, runs, _) in zip(MANY, machines, strict=False):
            insert_record(tx, MACHINES, {"machine": name, "parts_per_cycle": at_once})
            _add_runs(tx, shop, name, runs)
        tx.exec_driver_sql("SAVEPOINT clean")
        for news in _rounds(shop, machines, twice):
            for one in news:
                book_feed(tx, present, one)
        wanted = _rows(tx)
        tx.exec_driver_sql("ROLLBACK TO clean")

        for news in _rounds(shop, machines, twice):
            done = book_going_on(tx, present, news)
            at_once_booked += sum(done)
            for one, booked in zip(news, done, strict=True):
                if not booked:
                    book_feed(tx, present, one)

        assert _rows(tx) == wanted
        raise _Undo
    event("some at once" if at_once_booked else "none at once")


def test_what_goes_on_is_booked_at_once(shop: SimpleNamespace, tx: Tx) -> None:
    present = shop.start + timedelta(hours=1)
    news = [
        FeedNews(name, "mqtt", present, [CountNews(shop.start + timedelta(minutes=m), str(m))])
        for name, m in (("M1", 3), ("M2", 5))
    ]
    later = [
        FeedNews("M1", "mqtt", present, [CountNews(shop.start + timedelta(minutes=9), "10")]),
        FeedNews("M2", "mqtt", present, [CountNews(shop.start + timedelta(minutes=9), "2")]),
    ]
    elsewhere = FeedNews("M9", "mqtt", present, [CountNews(shop.start, "1")])

    assert book_going_on(tx, present, [*news, elsewhere]) == [True, True, False]
    assert book_going_on(tx, present, later) == [True, False]  # a drop has to be looked at
    assert book_going_on(tx, present, [later[0], later[0]]) == [False, False]


def _add_runs(tx: Tx, shop: SimpleNamespace, machine: str, runs) -> None:
    ended, last = runs
    for begin, lasts in ended:
        start = None if begin is None else shop.start + timedelta(minutes=begin)
        end = start + timedelta(minutes=lasts) if start and lasts else None
        _add_run(tx, machine, "ended", start, end)
    if last:
        _add_run(tx, machine, last, shop.start + timedelta(minutes=10, seconds=1), None)


def _add_run(tx: Tx, machine: str, state: str, start, end) -> None:
    values = {"machine": machine, "part": "PIN-8", "quantity": 500, "state": state}
    insert_record(tx, RUNS, values | {"start_at": start, "end_at": end})


def _rounds(shop: SimpleNamespace, machines, twice: int) -> list[list[FeedNews]]:
    rounds = []
    for turn in range(3):
        news = []
        for place, (name, (_, _, counters)) in enumerate(zip(MANY, machines, strict=False)):
            told = [
                CountNews(shop.start + timedelta(seconds=30 * at, milliseconds=ms), text)
                for at, ms, text in counters[turn]
            ]
            heard = shop.start + timedelta(minutes=20 + turn)
            one = FeedNews(name, "mtconnect", heard, told, place=(1, turn))
            news += [one, one] if place == twice else [one]
        rounds.append(news)
    return rounds
