"""Parts of a machine are split over runs and stays without losing or doubling one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.planning.output import NO_RUN, machine_output, output_of_runs, run_windows

S = 1_000_000


def _output(readings, runs=((0, 10_000 * S),), named=None):
    at = np.array([seconds * S for seconds, _ in readings], dtype=np.int64)
    total = np.array([parts for _, parts in readings], dtype=np.int64)
    names = np.full(len(readings), NO_RUN) if named is None else np.array(named)
    return machine_output(at, total, names, [r[0] for r in runs], [r[1] for r in runs])


def test_parts_between_readings_are_spread_evenly():
    output = _output([(0, 0), (100, 10)])

    assert output.total_at(np.array([0, 50 * S, 99 * S, 100 * S])).tolist() == [0, 5, 9, 10]


def test_nothing_is_known_before_the_first_and_after_the_last_reading():
    output = _output([(100, 3), (200, 13)])

    assert output.total_at(np.array([0, 999 * S])).tolist() == [3, 13]


def test_a_job_change_between_two_readings_splits_the_parts_by_time():
    output = _output([(0, 0), (100, 100)], runs=((0, 30 * S), (30 * S, 100 * S)))

    assert output.parts_of_run(0) == 30
    assert output.parts_of_run(1) == 70
    used = output.used(np.array([1.0, 10.0]), np.array([0]), np.array([100 * S]))
    assert used[0] == pytest.approx(30 * 1 + 70 * 10)


def test_a_reading_that_names_its_run_claims_its_whole_increment():
    output = _output(
        [(0, 0), (100, 100)], runs=((0, 30 * S), (30 * S, 100 * S)), named=[NO_RUN, 0]
    )

    assert output.parts_of_run(0) == 100


def test_parts_made_while_no_run_was_on_belong_to_none():
    output = _output([(0, 0), (100, 100)], runs=((0, 40 * S),))

    assert output.parts_of_run(0) == 40
    assert output.used(np.array([1.0]), np.array([0]), np.array([100 * S]))[0] == (
        pytest.approx(40)
    )


def test_a_machine_without_readings_made_nothing():
    output = _output([])

    assert output.total_at(np.array([5])).tolist() == [0]
    assert output.used(np.array([1.0]), np.array([0]), np.array([9])).tolist() == [0.0]


@given(
    st.lists(st.integers(0, 500), min_size=2, max_size=12),
    st.lists(st.floats(0, 1), min_size=1, max_size=6),
)
def test_consecutive_stays_add_up_to_the_whole(increments, cuts):
    readings = list(enumerate(np.cumsum(increments).tolist()))
    output = _output(readings)
    end = (len(readings) - 1) * S
    edges = np.array(sorted({0, end, *(int(cut * end) for cut in cuts)}), dtype=np.int64)

    parts = np.diff(output.total_at(edges))
    used = output.used(np.array([0.25]), edges[:-1], edges[1:])

    assert (parts >= 0).all()
    assert parts.sum() == readings[-1][1] - readings[0][1]
    assert used.sum() == pytest.approx((readings[-1][1] - readings[0][1]) * 0.25)


def test_parts_of_an_interval_lie_straight_between_readings():
    output = _output([(0, 10), (100, 20), (200, 20)])

    asked = np.array([-5, 0, 55, 100, 150, 999]) * S
    assert output.total_at(asked).tolist() == [10, 10, 15, 20, 20, 20]
    assert output.total_at(200 * S) - output.total_at(55 * S) == 5


def test_one_reading_or_none_tells_no_parts():
    for readings in ([], [(5, 40)]):
        output = _output(readings)
        assert output.total_at(100 * S) - output.total_at(0) == 0


def test_a_run_ends_where_it_was_ended_or_the_next_begins_and_never_before_it_began():
    windows = run_windows([0, 100, 200, 200], [None, 150, 900, 50], 400)

    assert windows == ([0, 100, 200, 200], [100, 150, 200, 200])


def test_a_reading_names_its_run_by_id():
    at, total = np.array([0, 100]) * S, np.array([0, 100])

    output = output_of_runs(
        at, total, np.array([0, 7]), [5, 7], ([0, 50 * S], [50 * S, 100 * S])
    )

    assert (output.parts_of_run(0), output.parts_of_run(1)) == (0, 100)
