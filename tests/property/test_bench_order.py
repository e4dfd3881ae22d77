"""The bench's order against every permutation, its hours against a walk minute by minute."""

import math
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import permutations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.planning.bench import BenchJob, bench_queue, latest_start
from crib.planning.bench_order import OrderJob, order_jobs
from crib.planning.hours import BenchHours

NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)

plain_jobs = st.lists(st.tuples(st.integers(0, 12), st.integers(-5, 40)), max_size=8)


@cache
def _orders(jobs):
    """Every order of so many jobs, shape (orders, jobs)."""
    return np.array(list(permutations(range(jobs))), dtype=np.intp).reshape(
        math.factorial(jobs), jobs
    )


def _lateness_of_every_order(jobs):
    """Lateness job by job of every order, shape (orders, jobs)."""
    minutes, due = np.array(jobs, dtype=np.int64).reshape(-1, 2).T
    orders = _orders(len(jobs))
    return minutes[orders].cumsum(axis=1) - due[orders]


@st.composite
def benches(draw):
    """Hours of a bench with short shifts, from before now until well after all the work."""
    gaps = draw(st.lists(st.tuples(st.integers(0, 9), st.integers(1, 15)), min_size=1))
    at = NOW - 20 * MINUTE
    spans = []
    for closed, opened in [*gaps, (5, 500)]:
        start = at + closed * MINUTE
        at = start + opened * MINUTE
        spans.append((start, at))
    return BenchHours(spans, NOW), spans


timed_jobs = st.lists(
    st.tuples(st.integers(1, 12), st.integers(-5, 80), st.integers(0, 30)),
    min_size=1,
    max_size=5,
)


def _job(place, minutes, due, release=None):
    release_at = None if release is None else NOW + release * MINUTE
    return BenchJob(str(place), "build", minutes, NOW + due * MINUTE, release_at)


def _walk(at, minutes, spans):
    """End of so many attended minutes from an instant, one minute at a time."""
    while minutes:
        if any(start <= at < end for start, end in spans):
            minutes -= 1
        at += MINUTE
    return at


def _lateness_of(order, jobs, spans):
    """Lateness of each job done in that order, each begun once its holder is there [min]."""
    at = NOW
    lateness = {}
    for place in order:
        minutes, due, release = jobs[place]
        at = _walk(max(at, NOW + release * MINUTE), minutes, spans)
        lateness[place] = (at - NOW) / MINUTE - due
    return lateness


@given(plain_jobs)
@settings(max_examples=60)
def test_no_order_makes_the_greatest_lateness_smaller(jobs):
    ours = order_jobs([OrderJob(str(i), *job) for i, job in enumerate(jobs)])

    best = _lateness_of_every_order(jobs).max(axis=1, initial=-(10**9)).min()
    assert ours.greatest_lateness_min == (best if jobs else 0)


@given(plain_jobs)
@settings(max_examples=60)
def test_no_order_makes_fewer_jobs_late(jobs):
    ours = order_jobs([OrderJob(str(i), *job) for i, job in enumerate(jobs)])

    def late(order):
        at, count = 0, 0
        for i in order:
            at += jobs[i][0]
            count += at > jobs[i][1]
        return count

    best = (_lateness_of_every_order(jobs) > 0).sum(axis=1).min()
    assert ours.fewest_late == best
    assert ours.fewest_late == len(ours.fewest_late_names)
    assert late([int(name) for name in ours.fewest_late_order]) == best
    assert sorted(ours.fewest_late_order) == sorted(str(i) for i in range(len(jobs)))


@given(st.lists(st.integers(1, 9), min_size=1, max_size=30))
def test_tenths_of_minutes_that_just_fit_are_not_late(tenths):
    ends = [sum(tenths[: i + 1]) / 10 for i in range(len(tenths))]
    jobs = [OrderJob(str(i), tenth / 10, ends[i]) for i, tenth in enumerate(tenths)]

    ours = order_jobs(jobs)

    assert ours.late_names == ()
    assert ours.fewest_late == 0


@given(benches(), timed_jobs)
@settings(max_examples=60)
def test_the_queue_runs_as_a_walk_through_its_order_says(bench, jobs):
    hours, spans = bench
    queue = bench_queue([_job(i, *job) for i, job in enumerate(jobs)], hours)

    order = [int(row.job.name) for row in queue.rows]
    walked = _lateness_of(order, jobs, spans)

    assert sorted(order) == list(range(len(jobs)))
    for row in queue.rows:
        assert row.lateness_minutes == walked[int(row.job.name)]
        assert row.late == (row.lateness_minutes > 0)
        assert row.start_at >= (row.job.release_at or NOW)
        assert any(start <= row.start_at < end for start, end in spans)
        assert _walk(row.start_at, row.job.minutes, spans) == row.finish_at
    for before, after in zip(queue.rows, queue.rows[1:], strict=False):
        assert before.finish_at <= after.start_at


@given(benches(), timed_jobs)
@settings(max_examples=40)
def test_with_every_holder_there_no_order_is_less_late(bench, jobs):
    hours, spans = bench
    jobs = [(minutes, due, 0) for minutes, due, _ in jobs]
    queue = bench_queue([_job(i, m, due) for i, (m, due, _) in enumerate(jobs)], hours)

    results = [
        _lateness_of(order, jobs, spans).values() for order in permutations(range(len(jobs)))
    ]

    assert queue.greatest_lateness_minutes == min(max(late) for late in results)
    assert len(queue.fewest_late_names) == min(
        sum(minutes > 0 for minutes in late) for late in results
    )


@given(benches(), timed_jobs)
@settings(max_examples=60)
def test_whatever_is_due_first_of_what_is_there_goes_first(bench, jobs):
    hours, _ = bench
    queue = bench_queue([_job(i, *job) for i, job in enumerate(jobs)], hours)

    for place, row in enumerate(queue.rows):
        for later in queue.rows[place + 1 :]:
            came_after = later.job.release_at > row.start_at
            assert came_after or later.job.due_at >= row.job.due_at


@given(benches(), timed_jobs)
@settings(max_examples=40)
def test_holders_that_come_late_never_make_fewer_late_than_the_queue_says(bench, jobs):
    hours, spans = bench
    queue = bench_queue([_job(i, *job) for i, job in enumerate(jobs)], hours)

    fewest = min(
        sum(minutes > 0 for minutes in _lateness_of(order, jobs, spans).values())
        for order in permutations(range(len(jobs)))
    )

    assert len(queue.fewest_late_names) <= fewest <= len(queue.late_names)


@given(benches(), st.integers(0, 60), st.integers(1, 40))
@settings(max_examples=60)
def test_the_latest_start_is_the_last_that_is_in_time(bench, due, minutes):
    hours, spans = bench
    due_at = NOW + due * MINUTE

    start_at = latest_start(due_at, minutes, hours)

    first = spans[0][0]
    candidates = [first + i * MINUTE for i in range(int((due_at - first) / MINUTE) + 1)]
    in_time = [at for at in candidates if _walk(at, minutes, spans) <= due_at]
    assert start_at == (max(in_time) if in_time else None)


@given(benches(), timed_jobs)
@settings(max_examples=60)
def test_the_relief_asked_for_is_enough_and_no_less_would_be(bench, jobs):
    hours, _ = bench
    jobs = [(m, due, 0) for m, due, _ in jobs if due >= m]
    queue = bench_queue([_job(i, m, due) for i, (m, due, _) in enumerate(jobs)], hours)

    def lacking(due):
        """Work due until then beyond the attended minutes until then."""
        work = sum(minutes for minutes, other, _ in jobs if other <= due)
        return work - hours.work_until(NOW + due * MINUTE) / 6e7

    for _, due, _ in jobs:
        before = [s.minutes for s in queue.relief if s.before_at <= NOW + due * MINUTE]
        assert lacking(due) <= max(before, default=0)
    for step in queue.relief:
        assert step.minutes == lacking((step.before_at - NOW) / MINUTE)
    assert bool(queue.relief) == bool(queue.late_names)


@given(
    st.lists(st.tuples(st.integers(1, 60), st.integers(-300, 60)), min_size=1, max_size=6),
    st.lists(st.integers(0, 400), min_size=2, max_size=6),
)
def test_lateness_never_shrinks_while_time_passes_and_nothing_is_done(jobs, waits):
    """What is overdue is due now at each look, and late from when it was due."""
    jobs = sorted(jobs, key=lambda job: job[1])  # as the list of swaps names them
    dues = [NOW + due * MINUTE for _, due in jobs]
    lateness = [-math.inf] * len(jobs)
    for wait in sorted(waits):
        now = NOW + wait * MINUTE
        hours = BenchHours([(NOW, NOW + 40 * MINUTE), (NOW + 300 * MINUTE, NOW + 9 * DAY)], now)
        queue = bench_queue(
            [
                BenchJob(
                    str(place),
                    "build",
                    minutes,
                    max(due, now),
                    due_since=due if due < now else None,
                )
                for place, ((minutes, _), due) in enumerate(zip(jobs, dues, strict=True))
            ],
            hours,
        )
        told = {row.job.name: row.lateness_minutes for row in queue.rows}
        later = [told[str(place)] for place in range(len(jobs))]

        assert all(new >= old for new, old in zip(later, lateness, strict=True))
        lateness = later
