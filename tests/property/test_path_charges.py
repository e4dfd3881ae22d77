"""Counts of two paths, mixed in any order and batches, are to each path as if it were alone."""

from __future__ import annotations

from contextlib import suppress
from datetime import timedelta
from types import SimpleNamespace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.count_columns import CountReading
from crib.acts.report_counts import ReportCounts, report_counts
from crib.clock import us_from_instant
from crib.outlook.kept_output import KeptOutput
from crib.outlook.shop_now import read_shop
from crib.records.catalogue import MACHINES
from crib.store.engine import Store, Tx
from crib.store.path_counts import charges_around
from crib.store.records import update_record

Told = tuple[int, int, int | None]


class _Undo(Exception):  # noqa: N818 - not an error: leaves the database as it was
    pass


@st.composite
def _counter(draw: st.DrawFn, path: int | None, begin: int) -> list[Told]:
    """What a counter says, as (minute, count, path)."""
    steps = draw(st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=1, max_size=8))
    minute, count, told = begin, draw(st.integers(0, 50)), []
    for gap, reset in steps:
        minute += gap
        made = draw(st.integers(0, gap))  # a part takes 45 s
        count = made if reset else count + made
        told.append((minute, count, path))
    return told


@st.composite
def _shops(draw: st.DrawFn) -> tuple[list[Told], list[list[Told]], list[list[Told]]]:
    """Counts of the machine before, those of each path, and all of these in batches."""
    before = draw(_counter(None, 0)) if draw(st.booleans()) else []
    paths = [draw(_counter(path, 600)) for path in (1, 2)]
    rest = list(draw(st.permutations(paths[0] + paths[1])))
    batches = []
    while rest:
        size = draw(st.integers(1, len(rest)))
        batches.append(rest[:size])
        rest = rest[size:]
    return before, paths, batches


def _tell(tx: Tx, shop: SimpleNamespace, told: list[Told]) -> None:
    readings = [
        CountReading(shop.start + timedelta(minutes=minute), count, path=path)
        for minute, count, path in told
    ]
    if readings:
        late = shop.start + timedelta(days=40)
        assert not report_counts(tx, late, ReportCounts("M1", readings)).refused


def _steps(tx: Tx, path: int) -> list[tuple[int, int]]:
    found = tx.exec_driver_sql(
        "SELECT at, total FROM count_readings WHERE path = ? ORDER BY at", (path,)
    )
    rows = [(int(at), int(total)) for at, total in found]
    return [(at, total - rows[0][1]) for at, total in rows]


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(_shops())
def test_each_path_is_charged_as_if_it_were_alone(
    shop: SimpleNamespace,
    store: Store,
    told: tuple[list[Told], list[list[Told]], list[list[Told]]],
) -> None:
    before, paths, batches = told
    machine, now = shop.ids["machines"]["M1"], shop.start + timedelta(days=2)
    with suppress(_Undo), store.write() as tx:
        tx.exec_driver_sql("SAVEPOINT clean")
        alone = []
        for one in [before, *paths]:
            # a machine with one counter for all paths
            _tell(tx, shop, [(minute, count, None) for minute, count, _ in one])
            alone.append(_steps(tx, 0))
            tx.exec_driver_sql("ROLLBACK TO clean")

        kept = KeptOutput()
        _tell(tx, shop, before)
        update_record(tx, MACHINES, machine, {"path_counters": "1|2"}, None)
        for batch in batches:
            _tell(tx, shop, batch)
            mine, whole = (
                read_shop(tx, now, keeps).machines[machine] for keeps in (kept, None)
            )
            for path, output in whole.of_paths.items():
                for name in ("at_us", "total", "run"):
                    grown = getattr(mine.of_paths[path], name)
                    assert grown.tolist() == getattr(output, name).tolist()

        assert [_steps(tx, path) for path in (0, 1, 2)] == alone
        head = alone[0][-1][1] if before else 0
        for path in (1, 2):
            # the machine's counts go before; between two counters nothing is known to be made
            wanted = [
                *alone[0],
                *((at, total + head) for at, total in alone[path]),
            ]
            output = whole.of_paths[path]
            first = int(output.total_at(wanted[0][0]))
            assert [(at, int(output.total_at(at)) - first) for at, _ in wanted] == wanted
            end = us_from_instant(now)
            found = charges_around(tx, machine, path, 0, end)
            rows = zip(found.at_us.tolist(), found.total.tolist(), strict=True)
            assert [(at, total - first) for at, total in rows] == wanted
        assert whole.output is whole.of_paths[1]
        raise _Undo
