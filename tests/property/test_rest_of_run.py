"""Parts left and parts untold move by a bounded number with each part and each second."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.planning.rest_of_run import GOES_ON, SILENCE_S, believed_s, rest_of_run

quantities = st.integers(1, 10_000)


@given(quantities, st.integers(-30, 30), st.floats(0, 7_200), st.floats(1, 600))
def test_one_part_moves_little(quantity, past, since_s, cycle_s):
    made = max(quantity + past, 0)
    one, next_one = (
        rest_of_run(quantity, count, since_s, cycle_s) for count in (made, made + 1)
    )

    assert min(one.left, one.untold) >= 0
    assert abs(next_one.left - one.left) <= GOES_ON + 1e-6
    assert abs(next_one.untold - one.untold) <= GOES_ON + 1e-6


@given(quantities, st.integers(-30, 30), st.floats(0, 7_200), st.floats(0, 60))
def test_the_clock_moves_as_many_parts_as_it_has_time_for(quantity, past, quiet_s, step_s):
    made = max(quantity + past, 0)
    one, later = (
        rest_of_run(quantity, made, believed_s(at), 30.0) for at in (quiet_s, quiet_s + step_s)
    )

    assert abs(later.untold - one.untold) <= step_s / 30.0 + 1e-6
    assert later.left + later.untold == pytest.approx(one.left + one.untold)


def test_a_silent_machine_is_believed_for_half_an_hour():
    believed = [believed_s(share * SILENCE_S) for share in (0, 0.5, 1, 1.5, 2, 9)]

    assert believed == [0, 900, 1_800, 900, 0, 0]


def test_an_overrun_goes_on_for_nineteen_times_its_length():
    # P(more than x to come | e past) = e / (e + x): 1 / 20 at x = 19 e (Gott 1993, memory)
    assert rest_of_run(9_100, 9_101, 0.0, 45.0).left == 19
    assert rest_of_run(9_100, 9_100, 600.0, 45.0) == rest_of_run(9_100, 9_100, 0.0, 45.0)
