"""In what order a bench takes its jobs, on plain minutes: earliest due date, fewest late."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from crib.errors import Invalid
from crib.sentence import sentence

#: Microseconds in a minute: jobs are summed in whole microseconds, since float minutes drift
#: (0.1 + 0.2 would be late for 0.3).
US_PER_MIN = 60_000_000

#: Longest time that is taken for a job or a due date [min]: about 1900 years.
LONGEST_MIN = 1e9


@dataclass(frozen=True, slots=True)
class OrderJob:
    """A job of so many minutes, due so many minutes from now (less than 0: past already)."""

    name: str
    minutes: float
    due_min: float


@dataclass(frozen=True, slots=True)
class OrderedJob:
    """A job in its place; lateness below 0 is time in hand [min]."""

    name: str
    start_min: float
    finish_min: float
    due_min: float
    lateness_min: float
    late: bool


@dataclass(frozen=True, slots=True)
class BenchOrder:
    """Two answers to one pile of work.

    Args:
        order: By earliest due date: the greatest lateness is as small as it can be.
        greatest_lateness_min: That lateness [min]; 0 for no jobs.
        late_names: Late in that order.
        fewest_late: How few jobs can be late, whatever the order.
        fewest_late_names: Which ones then are late.
        fewest_late_order: An order that does it: those in time first, the late ones last.
    """

    order: tuple[OrderedJob, ...]
    greatest_lateness_min: float
    late_names: tuple[str, ...]
    fewest_late: int
    fewest_late_names: tuple[str, ...]
    fewest_late_order: tuple[str, ...]


def order_jobs(jobs: Sequence[OrderJob]) -> BenchOrder:
    """Put jobs that are all at hand in order for one bench that works without a break.

    Source: J. R. Jackson 1955 (earliest due date); J. M. Moore 1968, Management Science 15,
    with Hodgson's algorithm (fewest late).

    Raises:
        Invalid: A job without a name, two of one name, or minutes that are no number, absurd
            or negative.

    Examples:
        >>> result = order_jobs([OrderJob("A", 10, 20), OrderJob("B", 4, 3)])
        >>> [job.name for job in result.order], result.greatest_lateness_min
        (['B', 'A'], 1.0)
    """
    _check(jobs)
    minutes = [us_from_min(job.minutes) for job in jobs]
    due = [us_from_min(job.due_min) for job in jobs]
    placed: list[OrderedJob] = []
    start = 0
    for i in by_due(due):
        finish = start + minutes[i]
        lateness = finish - due[i]
        placed.append(
            OrderedJob(
                name=jobs[i].name,
                start_min=start / US_PER_MIN,
                finish_min=finish / US_PER_MIN,
                due_min=jobs[i].due_min,
                lateness_min=lateness / US_PER_MIN,
                late=lateness > 0,
            )
        )
        start = finish
    in_time, late = fewest_late(minutes, due)
    return BenchOrder(
        order=tuple(placed),
        greatest_lateness_min=max((job.lateness_min for job in placed), default=0.0),
        late_names=tuple(job.name for job in placed if job.late),
        fewest_late=len(late),
        fewest_late_names=tuple(jobs[i].name for i in late),
        fewest_late_order=tuple(jobs[i].name for i in (*in_time, *late)),
    )


def us_from_min(minutes: float) -> int:
    """Whole microseconds in so many minutes."""
    return round(minutes * US_PER_MIN)


def by_due(due: Sequence[int]) -> list[int]:
    """Places of the jobs by earliest due date; equal ones keep their order."""
    return sorted(range(len(due)), key=due.__getitem__)


def fewest_late(work: Sequence[int], due: Sequence[int]) -> tuple[list[int], list[int]]:
    """Choose the jobs that are in time so that as few as possible are late.

    Jobs join by earliest due date; whenever the last one would be late, the longest one so
    far is put off. Source: Moore 1968 with Hodgson's algorithm; no release dates.

    Args:
        work: Length of each job, zero or more, in any whole unit of time.
        due: When each has to be done, in the same unit from the start of work.

    Returns:
        Places of the jobs in time, then of those put off, each by earliest due date.
    """
    chosen: list[tuple[int, int]] = []
    late: set[int] = set()
    order = by_due(due)
    total = 0
    for i in order:
        heappush(chosen, (-work[i], i))
        total += work[i]
        if total > due[i]:
            shorter, place = heappop(chosen)
            total += shorter
            late.add(place)
    return [i for i in order if i not in late], [i for i in order if i in late]


def _check(jobs: Sequence[OrderJob]) -> None:
    seen: set[str] = set()
    errors: list[dict[str, str]] = []
    for place, job in enumerate(jobs):
        where = f"jobs.{place}"
        if not job.name or job.name in seen:
            errors.append(
                {"field": f"{where}.name", "detail": sentence("give each job its own name")}
            )
        seen.add(job.name)
        if not 0 <= job.minutes <= LONGEST_MIN:
            errors.append(
                {"field": f"{where}.minutes", "detail": sentence("wants minutes, 0 to 1e9")}
            )
        if not abs(job.due_min) <= LONGEST_MIN:
            errors.append(
                {"field": f"{where}.due_min", "detail": sentence("wants minutes, up to 1e9")}
            )
    if errors:
        raise Invalid(
            sentence("The jobs cannot be put in order: correct the fields named."),
            errors=errors,
        )
