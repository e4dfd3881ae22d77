"""Parts over open hours: shares, nights, closures, and what cannot be."""

from datetime import UTC, datetime, timedelta

import pytest

from crib.errors import Invalid
from crib.floor.calendar import Stretch
from crib.floor.parts_clock import PartsClock

NOON = datetime(2026, 1, 14, 12, tzinfo=UTC)


def hours(start, end, attended=True):
    return Stretch(NOON + timedelta(hours=start), NOON + timedelta(hours=end), attended)


def test_each_kind_of_time_cuts_at_its_own_share():
    clock = PartsClock([hours(0, 2), hours(2, 6, False)], 60, 1.0, 0.5)

    assert clock.parts == 120 + 120
    assert clock.finish(120) == NOON + timedelta(hours=2)
    assert clock.finish(121) == NOON + timedelta(hours=2, minutes=2)
    assert clock.parts_by(NOON + timedelta(hours=4)) == 180
    assert clock.parts_by(NOON - timedelta(hours=1)) == 0
    assert clock.parts_by(NOON + timedelta(days=3)) == 240
    assert clock.finish(241) is None


def test_the_rows_add_up_to_the_job():
    clock = PartsClock([hours(0, 2), hours(5, 9, False), hours(9, 12)], 7, 0.9, 0.4)
    end_at = clock.finish(2_000)

    rows = clock.worked(end_at)

    assert sum(row.parts for row in rows) == 2_000
    assert rows[-1].end_at == end_at
    assert [row.open_min for row in rows[:2]] == [120, 240]
    assert sum(row.cutting_min for row in rows) == pytest.approx(2_000 * 7 / 60, abs=1e-6)


def test_time_in_which_nothing_is_cut_is_passed_over():
    clock = PartsClock([hours(0, 1), hours(1, 9, False), hours(9, 10)], 1_800, 1.0, 0.0)

    assert clock.finish(2) == NOON + timedelta(hours=1)
    assert clock.finish(3) == NOON + timedelta(hours=9.5)


def test_without_open_time_nothing_is_ever_made():
    assert PartsClock([], 5).finish(1) is None
    assert PartsClock([], 5).parts == 0
    assert PartsClock([hours(0, 9)], 5, 0.0).finish(1) is None


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"cycle_s": 0}, "cycle_s"),
        ({"cycle_s": -4}, "cycle_s"),
        ({"cycle_s": float("nan")}, "cycle_s"),
        ({"cycle_s": float("inf")}, "cycle_s"),
        ({"cycle_s": 5, "attended_share": -0.1}, "attended_share"),
        ({"cycle_s": 5, "unattended_share": 2.1}, "unattended_share"),
        ({"cycle_s": 5, "unattended_share": float("nan")}, "unattended_share"),
    ],
)
def test_a_cycle_or_share_that_cannot_be_is_named(given, field):
    with pytest.raises(Invalid) as refused:
        PartsClock([hours(0, 1)], **given)

    assert refused.value.errors[0]["field"] == field


def test_a_job_of_no_parts_is_refused():
    with pytest.raises(Invalid, match="at least one part"):
        PartsClock([hours(0, 1)], 5).finish(0)
