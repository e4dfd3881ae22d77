"""Single instants, looked up the short way, are those that the long way gives."""

from datetime import UTC, datetime, timedelta

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from crib.planning.ahead import TimeAhead
from crib.planning.hours import BenchHours

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
SECONDS = st.sampled_from(range(-5, 36))


@st.composite
def spans(draw):
    edges = sorted(draw(st.sets(st.integers(-600, 2_000), min_size=2, max_size=12)))
    return [
        (NOON + a * MINUTE, NOON + b * MINUTE)
        for a, b in zip(edges[::2], edges[1::2], strict=False)
    ]


@given(spans(), st.integers(-700, 2_100), st.integers(0, 400))
def test_bench_work_ends_where_its_count_of_attended_time_says(spans, start, minutes):
    hours, at = BenchHours(spans, NOON), NOON + start * MINUTE

    counted = hours.instant_after(hours.work_until(at) + minutes * 60_000_000)

    never = datetime.max.replace(tzinfo=UTC)
    assert hours.finish(at, minutes) == (never if counted is None else max(at, counted))


@st.composite
def times(draw):
    edges = sorted(draw(st.just(set()) | st.sets(st.integers(0, 30), min_size=4, max_size=12)))
    pairs = np.array(edges[: len(edges) // 2 * 2], dtype=np.int64).reshape(-1, 2)
    length = (pairs[:, 1] - pairs[:, 0]).astype(np.float64)
    return TimeAhead(
        pairs[:, 0] * 1_000_000,
        pairs[:, 1] * 1_000_000,
        np.array([draw(st.booleans()) for _ in length], dtype=np.bool_),
        np.cumsum(length) - length,
        float(length.sum()),
    )


@given(times(), SECONDS | st.sampled_from([float("inf"), 0.25]))
def test_one_running_second_is_reached_when_the_array_says(time, second):
    assert time.clock_at(second) == int(time.clock_us(second))


@given(times(), SECONDS.filter(lambda second: second >= 0))
def test_a_swap_comes_forward_only_out_of_an_unattended_stretch(time, second):
    moved_to, moved = time.last_attended(float(second))

    # plainly: the stretch that contains the instant just before that second
    inside = [
        (begin, attended)
        for begin, end, attended in zip(
            time.begin_s,
            time.begin_s + (time.end_us - time.begin_us) / 1e6,
            time.attended,
            strict=True,
        )
        if begin < second <= end or (begin == 0 == second)
    ]
    if not inside or inside[0][1]:
        assert (moved_to, moved) == (second, False)
    else:
        assert (moved_to, moved) == (inside[0][0], True)
