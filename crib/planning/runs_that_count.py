"""Which run decides what a station needs; the check of a mount and the lists both ask here."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from crib.planning.parts_without_run import AskedRun

_Run = TypeVar("_Run", bound=AskedRun)
_Job = TypeVar("_Job")
_Spec = TypeVar("_Spec")


def runs_that_count(runs: Iterable[_Run], at_us: int) -> tuple[_Run, ...]:
    """Return the run that is on at an instant, if any, and those planned, the next one first.

    Args:
        runs: All runs of one machine.
        at_us: The instant [µs].
    """
    every = list(runs)
    began = [run for run in every if run.state != "planned" and _covers(run, at_us)]
    began.sort(key=lambda run: (run.start_at is not None, run.start_at or 0, run.id))
    planned = [run for run in every if run.state == "planned"]
    planned.sort(key=lambda run: (run.start_at is None, run.start_at or 0, run.id))
    return (*began[-1:], *planned)


def _covers(run: AskedRun, at_us: int) -> bool:
    if run.start_at is not None and at_us < run.start_at:
        return False
    return run.state == "running" if run.end_at is None else at_us < run.end_at


def first_that_uses(
    jobs: Sequence[_Job], specs_of: Callable[[_Job], Sequence[_Spec]]
) -> tuple[_Job, Sequence[_Spec]]:
    """Return the first job that uses a station, with the specs it names there.

    Where none of them does, the first job decides, with no spec.

    Args:
        jobs: At least one, in the order in which they count.
        specs_of: What a job's program names for the station; empty where it does not use it.
    """
    for job in jobs:
        if specs := specs_of(job):
            return job, specs
    return jobs[0], ()
