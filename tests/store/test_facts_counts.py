"""Counts in the database: once each, in any order, none dropped."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from crib.acts.count_columns import CountReading, columns_from_json
from crib.acts.report_counts import MOST_READINGS, ReportCounts, report_counts
from crib.errors import Invalid, NotKnown
from crib.records.catalogue import RUNS
from crib.store.records import insert_record


def rows(acts: Any) -> list[tuple[float, int, int, int]]:
    """What is on record: minutes, count, life, total."""
    found = acts.tx.exec_driver_sql(
        "SELECT at, count, life, total FROM count_readings ORDER BY at"
    ).fetchall()
    start = acts.shop.start.timestamp()
    return [((row[0] / 1e6 - start) / 60, row[1], row[2], row[3]) for row in found]


def test_readings_are_counted_once_however_often_they_come(acts: Any) -> None:
    batch = ((0, 10), (5, 15), (10, 20))

    first = acts.counts(*batch, by="B2")
    again = acts.counts(*batch)

    assert (first.accepted, first.duplicates) == (3, 0)
    assert (again.accepted, again.duplicates, again.fact_id) == (0, 3, None)
    assert rows(acts) == [(0, 10, 0, 10), (5, 15, 0, 15), (10, 20, 0, 20)]
    assert acts.one("SELECT count(*) FROM facts WHERE kind = 'count'") == 1


def test_late_readings_land_where_they_belong(acts: Any) -> None:
    acts.counts((0, 0), (30, 30))

    acts.counts((10, 10), (20, 22))

    assert rows(acts) == [(0, 0, 0, 0), (10, 10, 0, 10), (20, 22, 0, 22), (30, 30, 0, 30)]


def test_a_late_reset_renumbers_what_came_after(acts: Any) -> None:
    acts.counts((0, 50), (60, 70), (70, 80))

    late = acts.counts((30, 5))

    assert late.resets_seen == 1
    assert rows(acts) == [
        (0, 50, 0, 50),
        (30, 5, 1, 55),
        (60, 70, 1, 120),
        (70, 80, 1, 130),
    ]


def test_a_late_reset_shifts_readings_far_behind_the_batch(acts: Any) -> None:
    acts.counts((0, 50), (100, 90), (110, 95), (120, 100), (130, 110))

    late = acts.counts((10, 3), (60, 40))

    assert (late.accepted, late.resets_seen) == (2, 1)
    assert rows(acts) == [
        (0, 50, 0, 50),
        (10, 3, 1, 53),
        (60, 40, 1, 90),
        (100, 90, 1, 140),
        (110, 95, 1, 145),
        (120, 100, 1, 150),
        (130, 110, 1, 160),
    ]


def test_a_reset_and_a_rollover_are_seen(acts: Any) -> None:
    done = acts.counts((0, 9_990), (15, 3), (30, 10), (45, 0))

    assert (done.resets_seen, done.rollovers_seen) == (1, 1)
    assert [row[3] for row in rows(acts)] == [9_990, 10_003, 10_010, 10_010]


def test_a_reading_faster_than_the_machine_is_kept_aside(acts: Any) -> None:
    acts.counts((0, 0))

    done = acts.counts((10, 900), (20, 20))

    assert done.accepted == 1
    refused = done.refused[0]
    assert (refused.index, refused.count, refused.reason) == (0, 900, "too_fast")
    assert acts.one("SELECT reading FROM count_refusals") == (
        '{"at": "2026-01-05T06:10:00Z", "count": 900}'
    )


def test_a_refused_reading_is_kept_aside_once(acts: Any) -> None:
    acts.counts((0, 0))
    acts.counts((10, 900))
    acts.counts((10, 900))

    assert acts.one("SELECT count(*) FROM count_refusals") == 1


def test_the_cycle_of_the_run_tells_what_is_too_fast(acts: Any) -> None:
    # a part takes 45 s; nothing is made in less than half of that
    acts.counts((0, 0))

    assert acts.counts((15, 41)).accepted == 1
    assert acts.counts((30, 83)).refused


def test_a_faster_run_before_the_reading_counts_as_well(acts: Any) -> None:
    acts.counts((0, 0))
    acts.tx.exec_driver_sql("UPDATE parts SET cycle_s = 5")
    slow = acts.shop.ids["parts"]["PIN-8"]
    acts.tx.exec_driver_sql(
        "INSERT INTO parts (part, material, material_group, cycle_s)"
        " VALUES ('SLOW', 'x', 'P', 300)"
    )
    assert slow
    end_us = int(acts.at(28).timestamp() * 1e6)
    acts.tx.exec_driver_sql("UPDATE runs SET state = 'done', end_at = ?", (end_us,))
    insert_record(
        acts.tx,
        RUNS,
        {
            "machine": "M1",
            "part": "SLOW",
            "quantity": 10,
            "start_at": acts.at(28),
            "state": "running",
        },
    )

    assert acts.counts((30, 330)).accepted == 1


def test_counts_in_the_future_are_refused_one_by_one(acts: Any) -> None:
    acts.present = acts.at(10)

    done = acts.counts((9, 9), (14, 14), (16, 16))

    assert done.accepted == 2
    assert [(row.index, row.reason) for row in done.refused] == [(2, "in_future")]


@pytest.mark.parametrize("count", [-1, 3.5, float("nan"), 10**30, True, "7", None])
def test_counts_that_are_none_are_refused_and_kept(acts: Any, count: Any) -> None:
    done = acts.counts((0, 1), (10, count))

    assert done.accepted == 1
    assert done.refused[0].index == 1
    assert acts.one("SELECT count(*) FROM count_refusals") == 1


def test_two_counts_at_one_instant_contradict_each_other(acts: Any) -> None:
    acts.counts((0, 0), (10, 10))

    assert acts.counts((10, 11)).refused[0].reason == "conflicting"


def test_an_empty_call_and_one_too_long_are_refused(acts: Any) -> None:
    with pytest.raises(Invalid, match="no readings"):
        acts.counts()
    one = CountReading(acts.at(0), 1)
    with pytest.raises(Invalid, match="too many"):
        report_counts(acts.tx, acts.present, ReportCounts("M1", [one] * (MOST_READINGS + 1)))


def test_counts_of_an_unknown_machine_are_refused(acts: Any) -> None:
    with pytest.raises(NotKnown, match="M9"):
        acts.counts((0, 1), machine="M9")


def test_a_named_run_has_to_be_on_that_machine(acts: Any) -> None:
    run = next(iter(acts.shop.ids["runs"].values()))
    readings = [
        CountReading(acts.at(0), 1, run),
        CountReading(acts.at(10), 2, str(run)),
        CountReading(acts.at(20), 3, "PIN-8"),
        CountReading(acts.at(30), 4, "no run"),
    ]

    here = report_counts(acts.tx, acts.present, ReportCounts("M1", readings))
    there = report_counts(acts.tx, acts.present, ReportCounts("M2", readings[:1]))

    assert (here.accepted, here.refused[0].reason) == (3, "unknown_run")
    assert there.refused[0].reason == "unknown_run"
    named = acts.tx.exec_driver_sql("SELECT run_id FROM count_readings").scalars().all()
    assert named == [run] * 3


def test_machines_count_apart(acts: Any) -> None:
    acts.counts((0, 100))

    acts.counts((0, 7), machine="M2")

    assert acts.one("SELECT count(*) FROM count_readings") == 2


JSON = [
    {"at": "2026-01-05T06:00:00Z", "count": 1},
    {"at": "2026-01-05T06:10:00Z", "count": 2},
]


def test_instants_of_a_batch_are_read_in_every_spelling(acts: Any) -> None:
    spellings = [
        ["2026-01-05T06:00:00Z", "2026-01-05T06:10:00Z"],
        ["2026-01-05T06:00:00.000Z", "2026-01-05T06:10:00.250Z"],
        ["2026-01-05T06:00:00.0000000Z", "2026-01-05T06:10:00.2500000Z"],
        ["2026-01-05T07:00:00+01:00", "2026-01-05T01:10:00-05:00"],
        ["2026-01-05T06:00:00Z", "2026-01-05T08:10:00.25+02:00"],
        ["2026-01-05t06:00:00z", "2026-01-05 06:10:00Z"],
    ]
    for spelling in spellings:
        columns = columns_from_json([{"at": at, "count": 1} for at in spelling])

        assert not columns.unreadable
        seconds = columns.at_us / 1e6 - acts.shop.start.timestamp()
        assert seconds[0] == 0
        assert seconds[1] in (600.0, 600.25)


@pytest.mark.parametrize(
    "text",
    [
        "yesterday",
        "2026-13-05T06:00:00Z",
        "2026-02-30T06:00:00Z",
        "2026-01-05T25:00:00Z",
        "2026-01-05T06:00:00",
        "2026-01-05T06:00:60Z",
        "NaT",
        "now",
        "2026",
        "२०२६-01-05T06:00:00Z",
        "2026-01-05T06:00:00+99:00",
        "2026-01-05T06:00:00+01:75",
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-14:00",
        "",
        None,
        1_767_592_800,
    ],
)
def test_a_reading_without_a_readable_instant_is_kept_aside(acts: Any, text: Any) -> None:
    batch = [*JSON, {"at": text, "count": 3}]

    done = report_counts(acts.tx, acts.present, ReportCounts("M1", columns_from_json(batch)))

    assert done.accepted == 2
    assert [(row.index, row.reason) for row in done.refused] == [(2, "not_an_instant")]
    assert done.refused[0].at is None


def test_bad_instants_of_one_shape_do_not_slip_through(acts: Any) -> None:
    batch = [{"at": f"2026-01-05T06:0{k}:00Z", "count": k} for k in range(3)]
    batch[1]["at"] = "2026-01-05T06:0x:00Z"

    done = report_counts(acts.tx, acts.present, ReportCounts("M1", columns_from_json(batch)))

    assert (done.accepted, len(done.refused)) == (2, 1)


def test_a_large_batch_is_taken_in_one_call(acts: Any) -> None:
    acts.present = acts.at(0) + timedelta(days=40)
    readings = [
        CountReading(acts.at(0) + timedelta(seconds=60 * k), k) for k in range(MOST_READINGS)
    ]

    done = report_counts(acts.tx, acts.present, ReportCounts("M1", readings))

    assert done.accepted == MOST_READINGS
    assert acts.one("SELECT max(total) FROM count_readings") == MOST_READINGS - 1


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("0001-01-01T00:00:00+14:00", "not_an_instant"),
        ("9999-12-31T23:59:59-14:00", "not_an_instant"),
        ("0001-01-01T00:00:00-01:00", "too_old"),
        ("9999-12-31T23:59:59+00:00", "in_future"),
    ],
)
def test_instants_at_the_ends_of_the_calendar_are_refused(
    acts: Any, text: str, reason: str
) -> None:
    batch = columns_from_json([{"at": text, "count": 3}])

    done = report_counts(acts.tx, acts.present, ReportCounts("M1", batch))

    assert [row.reason for row in done.refused] == [reason]
