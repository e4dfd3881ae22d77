"""Counts in the database: any order, any batches, any repeats give the same rows."""

from __future__ import annotations

from contextlib import suppress
from datetime import timedelta
from types import SimpleNamespace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.store.engine import Store, Tx


class _Undo(Exception):  # noqa: N818 - not an error: leaves the database as it was
    pass


@st.composite
def _histories(draw: st.DrawFn) -> tuple[list[tuple[int, int]], list[list[int]]]:
    """Readings as (minutes, count), and batches of their places; each comes once or more."""
    steps = draw(
        st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=1, max_size=15)
    )
    minutes, count, readings = 0, draw(st.integers(0, 50)), []
    for gap, reset in steps:
        minutes += gap
        made = draw(st.integers(0, gap))  # a part takes 45 s
        count = made if reset else count + made
        readings.append((minutes, count))
    places = list(range(len(readings)))
    order = draw(st.permutations(places + draw(st.lists(st.sampled_from(places), max_size=5))))
    batches, rest = [], list(order)
    while rest:
        size = draw(st.integers(1, len(rest)))
        batches.append(rest[:size])
        rest = rest[size:]
    return readings, batches


def _rows(tx: Tx) -> list[tuple[int, ...]]:
    found = tx.exec_driver_sql("SELECT at, count, life, total FROM count_readings ORDER BY at")
    return [tuple(row) for row in found]


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(_histories())
def test_the_order_in_which_counts_arrive_does_not_matter(
    shop: SimpleNamespace,
    store: Store,
    history: tuple[list[tuple[int, int]], list[list[int]]],
) -> None:
    readings, batches = history
    late = shop.start + timedelta(days=40)
    all_of_them = [
        CountReading(shop.start + timedelta(minutes=minutes), count)
        for minutes, count in readings
    ]
    with suppress(_Undo), store.write() as tx:
        tx.exec_driver_sql("SAVEPOINT clean")
        at_once = report_counts(tx, late, ReportCounts("M1", all_of_them))
        wanted = _rows(tx)
        tx.exec_driver_sql("ROLLBACK TO clean")

        done = [
            report_counts(tx, late, ReportCounts("M1", [all_of_them[i] for i in batch]))
            for batch in batches
        ]

        assert not at_once.refused
        assert not any(one.refused for one in done)
        assert _rows(tx) == wanted
        assert sum(one.accepted for one in done) == len(readings)
        assert sum(one.duplicates for one in done) == sum(map(len, batches)) - len(readings)
        raise _Undo
