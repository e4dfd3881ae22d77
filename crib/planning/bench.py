"""What to build and measure, in what order, by when: the queue of one bench.

Earliest due date first among the jobs whose holder is there, without interrupting a job but
for the end of a shift. With everything at hand that order makes the greatest lateness as
small as it can be (Jackson 1955), also in elapsed time across closed hours, since whatever
order fills the bench the same total is done by the same instant. With holders that arrive
later it is a list schedule: good, fast and not always best (the problem is strongly NP-hard;
Lenstra, Rinnooy Kan & Brucker 1977). Against every order of 3 to 7 random jobs whose holders
come within two hours it was the best in 6 to 8 of 10 cases, and 2 to 5 min worse on average.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from heapq import heappop, heappush
from typing import Literal

from crib.clock import print_instant
from crib.planning.bench_order import US_PER_MIN, fewest_late, us_from_min
from crib.planning.hours import BenchHours
from crib.planning.shelf import Missing, Sister, SwapNeed
from crib.sentence import sentence

LateCause = Literal["bench_time", "holder", "too_soon"]


@dataclass(frozen=True, slots=True)
class BenchJob:
    """One piece of bench work.

    Args:
        name: Its own name in the queue.
        work: measure, build, regauge, …
        minutes: Attended bench time [min].
        due_at: Has to be done by then.
        release_at: When its holder is there; None where it is there already.
        need: Place of the swap that it serves, in the list of needs.
        due_since: Since when it has been due, where ``due_at`` is only the present; lateness
            counts from then, so that it never shrinks while nothing is done.
    """

    name: str
    work: str
    minutes: float
    due_at: datetime
    release_at: datetime | None = None
    need: int | None = None
    due_since: datetime | None = None


@dataclass(frozen=True, slots=True)
class QueueRow:
    """A job in its place in the queue.

    Args:
        position: From 1.
        job: The job.
        start_by: Last instant to begin and still be in time, with nothing else to do.
        start_at: When the bench comes to it; None beyond the calendar.
        finish_at: When it is done, pauses between shifts included; None beyond the calendar.
        lateness_minutes: Elapsed time from due to done [min], below 0 in time; None where it
            is never done. Of what has been due for some time, from then on.
        late: Whether it is done after it is due.
        cause: Why it is late: bench_time (too much work before it), holder (comes too late
            even if nothing else were to do), too_soon (not even at once is there time enough).
        opens_at: When somebody comes to the bench; None where somebody is there now.
    """

    position: int
    job: BenchJob
    start_by: datetime | None
    start_at: datetime | None
    finish_at: datetime | None
    lateness_minutes: float | None
    late: bool
    cause: LateCause | None
    opens_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Relief:
    """Attended minutes that are wanted in addition, in total, before an instant."""

    minutes: float
    before_at: datetime


@dataclass(frozen=True, slots=True)
class BenchQueue:
    """The bench's work in order, and what it would take to be in time.

    Args:
        rows: In the order to do them.
        greatest_lateness_minutes: Over the rows that are done at all [min]; None for none.
        late_names: Late in this order.
        fewest_late_names: Late if as few jobs as possible were to be late: put these off, or
            get help for them. Counts on every holder being there; those whose own holder
            comes too late are always in it.
        relief: Extra attended minutes, in total, before each instant that add up to being in
            time; jobs that no bench time can save are left out, and holders that arrive
            during the work may ask for more.
    """

    rows: tuple[QueueRow, ...]
    greatest_lateness_minutes: float | None
    late_names: tuple[str, ...]
    fewest_late_names: tuple[str, ...]
    relief: tuple[Relief, ...]


@dataclass(frozen=True, slots=True)
class _Piece:
    """A job on the line of attended time [µs from now]."""

    job: BenchJob
    work: int
    release: int
    due: int

    @property
    def hopeless(self) -> bool:
        """Late even if the bench did nothing else."""
        return self.release + self.work > self.due


def bench_jobs(needs: Sequence[SwapNeed], sisters: Sequence[Sister]) -> list[BenchJob]:
    """The bench work behind swaps: one job per sister to measure or build.

    Args:
        needs: The swaps.
        sisters: Their sisters, in the same order.
    """
    return [
        BenchJob(
            name=f"{need.machine}/{need.station}#{need.ordinal}",
            work=sister.state,
            minutes=sister.minutes,
            due_at=need.due_at,
            release_at=sister.holder_from,
            need=place,
            due_since=need.due_since,
        )
        for place, (need, sister) in enumerate(zip(needs, sisters, strict=True))
        if sister.state in ("measure", "build")
    ]


def latest_start(due_at: datetime, minutes: float, hours: BenchHours) -> datetime | None:
    """The last instant to begin so much attended work and be done when it is due.

    Args:
        due_at: When it has to be done.
        minutes: Attended work [min].
        hours: The bench's hours.

    Returns:
        That instant, past ones included; None where it lies before the hours known.
    """
    start_at = hours.instant_of_start(hours.work_until(due_at) - us_from_min(minutes))
    return start_at if start_at is None else min(start_at, due_at)


def bench_queue(jobs: Sequence[BenchJob], hours: BenchHours) -> BenchQueue:
    """Put bench work in order from ``hours.origin_at`` on.

    Args:
        jobs: In any order; of jobs due at once the first one given goes first.
        hours: The bench's attended hours.
    """
    pieces = [_piece(job, hours) for job in jobs]
    rows = _rows(pieces, hours)
    lateness = [row.lateness_minutes for row in rows if row.lateness_minutes is not None]
    able = [piece for piece in pieces if not piece.hopeless]
    _, put_off = fewest_late([piece.work for piece in able], [piece.due for piece in able])
    put_off_names = [able[i].job.name for i in put_off]
    return BenchQueue(
        rows=tuple(rows),
        greatest_lateness_minutes=max(lateness, default=None),
        late_names=tuple(row.job.name for row in rows if row.late),
        fewest_late_names=tuple(
            [piece.job.name for piece in pieces if piece.hopeless] + put_off_names
        ),
        relief=tuple(_relief(pieces, hours.origin_at)),
    )


def add_bench_time(sisters: Sequence[Sister], queue: BenchQueue) -> list[Sister]:
    """Say of every sister whose bench work ends too late that bench time is missing.

    Args:
        sisters: As they were when the jobs were made from them.
        queue: The queue of those jobs.

    Returns:
        The sisters in the same order; their states stay.
    """
    result = list(sisters)
    for row in queue.rows:
        if row.late and row.job.need is not None:
            sister = result[row.job.need]
            missing = (*sister.missing, _missing_time(row))
            result[row.job.need] = replace(sister, missing=missing)
    return result


def _piece(job: BenchJob, hours: BenchHours) -> _Piece:
    release = 0 if job.release_at is None else max(0, hours.work_until(job.release_at))
    return _Piece(job, us_from_min(job.minutes), release, hours.work_until(job.due_at))


def _rows(pieces: Sequence[_Piece], hours: BenchHours) -> list[QueueRow]:
    """List schedule: whenever the bench is free, the released job that is due first."""
    waiting = sorted(range(len(pieces)), key=lambda i: (pieces[i].release, i))
    released: list[tuple[datetime, int]] = []
    rows: list[QueueRow] = []
    clock = 0
    coming = 0
    while len(rows) < len(pieces):
        if not released:
            clock = max(clock, pieces[waiting[coming]].release)
        while coming < len(waiting) and pieces[waiting[coming]].release <= clock:
            i = waiting[coming]
            heappush(released, (pieces[i].job.due_at, i))
            coming += 1
        piece = pieces[heappop(released)[1]]
        rows.append(_row(len(rows) + 1, piece, clock, hours))
        clock += piece.work
    return rows


def _row(position: int, piece: _Piece, start: int, hours: BenchHours) -> QueueRow:
    job = piece.job
    start_at, opens_at = hours.instant_of_start(start), hours.instant_of_start(0)
    finish_at = hours.instant_after(start + piece.work)
    if start_at is None:
        finish_at = None
    if start_at is not None and finish_at is not None:
        finish_at = max(start_at, finish_at)
    late = finish_at is None or finish_at > job.due_at
    cause: LateCause | None = None
    if late:
        waits = piece.release > 0 and piece.work <= piece.due
        cause = ("holder" if waits else "too_soon") if piece.hopeless else "bench_time"
    return QueueRow(
        position=position,
        job=job,
        start_by=latest_start(job.due_at, job.minutes, hours),
        start_at=start_at,
        finish_at=finish_at,
        lateness_minutes=(
            None
            if finish_at is None
            else (finish_at - (job.due_since or job.due_at)) / timedelta(minutes=1)
        ),
        late=late,
        cause=cause,
        opens_at=opens_at if opens_at is not None and opens_at > hours.origin_at else None,
    )


def _relief(pieces: Sequence[_Piece], now_at: datetime) -> list[Relief]:
    """Steps of the extra time that the earliest-due order lacks before each due date."""
    able = [piece for piece in pieces if _time_could_save(piece.job, now_at)]
    # By the instant: dues in the same closed hours are one count of attended time.
    able.sort(key=lambda piece: piece.job.due_at)
    steps: list[Relief] = []
    total = 0
    lacking = 0
    for piece in able:
        total += piece.work
        lack = max(total, piece.release + piece.work) - piece.due
        if lack > lacking:
            lacking = lack
            if steps and steps[-1].before_at == piece.job.due_at:
                steps.pop()
            steps.append(Relief(lack / US_PER_MIN, piece.job.due_at))
    return steps


def _time_could_save(job: BenchJob, now_at: datetime) -> bool:
    """Whether a bench that never closes and had nothing else to do would be in time."""
    start_at = now_at if job.release_at is None else max(now_at, job.release_at)
    return start_at + timedelta(minutes=job.minutes) <= job.due_at


def _missing_time(row: QueueRow) -> Missing:
    if row.lateness_minutes is None:
        return Missing(
            "bench_time",
            (),
            math.ceil(row.job.minutes),
            sentence("The bench has no attended hours left."),
        )
    late_min = math.ceil(row.lateness_minutes)
    return Missing("bench_time", (), late_min, _how_late(row, late_min))


def _how_late(row: QueueRow, late_min: int) -> str:
    late, reason = _days_to_minutes(late_min), _why_late(row)
    if row.job.due_since is None:
        reason = reason or sentence("the swap is due before it can be done")
        return sentence("Ready {late} late: {reason}.", late=late, reason=reason)
    since = print_instant(row.job.due_since)
    if reason is None:
        return sentence("Due since {time}, ready {late} later.", time=since, late=late)
    return sentence(
        "Due since {time}, ready {late} later: {reason}.", time=since, late=late, reason=reason
    )


def _why_late(row: QueueRow) -> str | None:
    """What keeps it from being done sooner; None where the work alone takes too long."""
    if row.cause == "holder":
        return sentence("its holder comes out of a machine too late")
    if row.cause != "too_soon":
        return sentence("other work is due before it")
    if row.opens_at is not None:
        return sentence("nobody at the bench before {time}", time=print_instant(row.opens_at))
    if row.start_at is not None and row.finish_at is not None:
        minutes = (row.finish_at - row.start_at) / timedelta(minutes=1)
        if minutes > row.job.minutes + 1e-6:
            return sentence("the bench closes before it is done")
    return None


def _days_to_minutes(minutes: int) -> str:
    """At least one minute, as people say it."""
    hours, rest = divmod(minutes, 60)
    if hours < 48:
        return " ".join(f"{n} {unit}" for n, unit in ((hours, "h"), (rest, "min")) if n)
    days, hours = divmod(hours, 24)
    return sentence("{days} days {hours} h", days=days, hours=hours)
