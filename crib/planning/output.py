"""Parts that a machine made, split exactly over the runs and the stays of its edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from crib.arrays import Floats, Ints

NO_RUN = -1


@dataclass(frozen=True, slots=True)
class MachineOutput:
    """Cumulative parts of one machine as a line through its counter readings.

    Between two readings the parts are spread evenly over the time; before the first and after
    the last nothing is known to have been made.

    Attributes:
        at_us: Instants of readings and run changes, ascending, shape (points,) [µs].
        total: Parts made up to each, shape (points,).
        run: Index of the run (into the caller's list) that each point's increment belongs to,
            ``NO_RUN`` where none was running, shape (points,).
        corners: Places of the first and the last point, and between them of those after which
            the run changes.
    """

    at_us: Ints
    total: Floats
    run: Ints
    corners: Ints = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        changes = np.flatnonzero(self.run[1:-1] != self.run[2:]) + 1
        corners = np.concatenate([[0], changes, [self.at_us.size - 1]]).astype(np.int64)
        object.__setattr__(self, "corners", corners)

    def total_at(self, at_us: Ints | int) -> Ints:
        """Whole parts made up to instants; differences of neighbours add up exactly."""
        if not self.at_us.size:
            return np.zeros(np.shape(at_us), dtype=np.int64)
        # the tiny lift keeps an interpolation that ends at 2.9999999 at the third part
        made = self._made_by(np.asarray(at_us, dtype=np.int64))
        return np.floor(made + 1e-6).astype(np.int64)

    def used(
        self, per_part: Floats, from_us: Ints, to_us: Ints, case: Ints | None = None
    ) -> Floats:
        """What stays took, where one part of run r takes ``per_part[r]``.

        Args:
            per_part: Taken per part of each run, shape (runs,), or (cases, runs) where stays
                differ in it.
            from_us: Begin of each stay, shape (stays,) [µs].
            to_us: End of each stay, shape (stays,) [µs].
            case: Row of ``per_part`` of each stay, shape (stays,); all 0 where left out.

        Returns:
            Sum over runs of parts times ``per_part``, shape (stays,).
        """
        if self.at_us.size < 2:
            return np.zeros(np.shape(from_us), dtype=np.float64)
        rates = np.atleast_2d(np.asarray(per_part, dtype=np.float64))
        rates = np.hstack([rates, np.zeros((len(rates), 1))])  # NO_RUN takes nothing
        corners = self.corners
        at, total = self.at_us[corners], self.total[corners]
        rates = rates[:, self.run[corners[1:]]]
        before = np.cumsum(np.diff(total) * rates, axis=1)
        before = np.hstack([np.zeros((len(rates), 1)), before])
        row = np.zeros(np.shape(from_us), dtype=np.int64) if case is None else case

        def taken_by(instant_us: Ints) -> Floats:
            made = self._made_by(instant_us)
            stretch = np.searchsorted(at[1:-1], instant_us, side="right")
            taken: Floats = before[row, stretch] + rates[row, stretch] * (made - total[stretch])
            return taken

        taken = taken_by(to_us) - taken_by(from_us)
        # rounding takes nothing back, but a rate below 0 (a logarithm) does
        return taken if np.any(rates < 0) else np.maximum(taken, 0.0)

    def parts_of_run(self, run: int) -> int:
        """Parts counted for a run so far."""
        if self.at_us.size < 2:
            return 0
        steps = np.diff(self.total[self.corners])
        return int(np.floor(steps[self.run[self.corners[1:]] == run].sum() + 1e-6))

    def _made_by(self, at_us: Ints) -> Floats:
        """Parts made by instants, between readings along a straight line."""
        if self.at_us.size < 2:
            return np.full(at_us.shape, self.total[0])
        # only the points around each instant are looked at: there are years of them
        right = np.clip(np.searchsorted(self.at_us, at_us, "right"), 1, self.at_us.size - 1)
        begin, end = self.at_us[right - 1], self.at_us[right]
        share = np.clip((at_us - begin) / (end - begin), 0.0, 1.0)
        before, after = self.total[right - 1], self.total[right]
        made: Floats = before + share * (after - before)
        return made


def machine_output(
    at_us: Ints,
    total: Ints,
    named_run: Ints,
    run_from_us: Sequence[int],
    run_to_us: Sequence[int],
) -> MachineOutput:
    """Lay the runs over a machine's counter readings.

    Args:
        at_us: Readings' instants, ascending, shape (readings,) [µs].
        total: Cumulative parts at each, shape (readings,).
        named_run: Index of the run that a reading named, ``NO_RUN`` where it named none.
        run_from_us: Start of each run, ascending [µs].
        run_to_us: End of each run (start of the next where it did not end before) [µs].
    """
    if not at_us.size:
        empty = np.empty(0, dtype=np.int64)
        return MachineOutput(empty, np.empty(0, dtype=np.float64), empty)
    starts = np.asarray(run_from_us, dtype=np.int64)
    ends = np.asarray(run_to_us, dtype=np.int64)
    changes = np.concatenate([starts, ends])
    inside = changes[(changes > at_us[0]) & (changes < at_us[-1])]
    place = np.searchsorted(at_us, inside)
    extra = np.unique(inside[at_us[place] != inside])
    points = np.insert(at_us, np.searchsorted(at_us, extra), extra)
    line = np.interp(points, at_us, total)
    if starts.size:
        # the run of an increment is the one running just before its end
        index = np.searchsorted(starts, points, side="left") - 1
        running = (index >= 0) & (points <= ends[np.maximum(index, 0)])
        run = np.where(running, index, NO_RUN)
    else:
        run = np.full(points.size, NO_RUN, dtype=np.int64)
    # a reading that names its run claims its whole increment
    reading_of_point = np.searchsorted(at_us, points, side="left")
    named = named_run[reading_of_point]
    return MachineOutput(points, line, np.where(named != NO_RUN, named, run))


def run_windows(
    began_us: Sequence[int], stopped_us: Sequence[int | None], until_us: int
) -> tuple[list[int], list[int]]:
    """From when to when each run was on its machine; they do not overlap.

    Args:
        began_us: Start of each run, ascending [µs].
        stopped_us: End of each run where somebody said it [µs].
        until_us: End of the last one where nobody did [µs].
    """
    followed = [*began_us[1:], until_us]
    ends = [
        max(began, following if stopped is None else min(stopped, following))
        for began, stopped, following in zip(began_us, stopped_us, followed, strict=False)
    ]
    return list(began_us), ends


class TimedRun(Protocol):
    """A run with its start and its end [µs]."""

    @property
    def start_at(self) -> int | None:
        """When it began; None: nobody said."""

    @property
    def end_at(self) -> int | None:
        """When it ended; None: nobody said."""


def windows_of(runs: Sequence[TimedRun], until_us: int) -> tuple[list[int], list[int]]:
    """From when to when each run that began was on its machine [µs]; see ``run_windows``."""
    began = [run.start_at or 0 for run in runs]
    return run_windows(began, [run.end_at for run in runs], until_us)


def output_of_runs(
    at_us: Ints,
    total: Ints,
    named_id: Ints,
    run_ids: Sequence[int],
    windows: tuple[Sequence[int], Sequence[int]],
) -> MachineOutput:
    """Lay runs over readings that name a run by its id.

    Args:
        at_us: Readings' instants, ascending, shape (readings,) [µs].
        total: Cumulative parts at each, shape (readings,).
        named_id: Id of the run that a reading named, 0 where it named none.
        run_ids: Ids of the runs, in the order of their windows.
        windows: As ``run_windows`` gives them.
    """
    return machine_output(at_us, total, numbers_of(named_id, run_ids), *windows)


def numbers_of(named_id: Ints, run_ids: Sequence[int]) -> Ints:
    """Places of run ids in a list of them, ``NO_RUN`` for others; shape as ``named_id``."""
    if not len(run_ids):
        return np.full(named_id.shape, NO_RUN, dtype=np.int64)
    ids = np.asarray(run_ids, dtype=np.int64)
    order = np.argsort(ids)
    place = np.minimum(np.searchsorted(ids[order], named_id), ids.size - 1)
    return np.where(ids[order][place] == named_id, order[place], NO_RUN)
