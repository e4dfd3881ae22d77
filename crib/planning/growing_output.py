"""A machine's output that only what is new is folded into."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from crib.arrays import Ints
from crib.planning.growing import GrowingColumn
from crib.planning.output import MachineOutput, machine_output, numbers_of, run_windows


class RunSpan(NamedTuple):
    """One run that began: its id, when, and when it ended where somebody said so [µs]."""

    run_id: int
    began_us: int
    stopped_us: int | None


class GrowingOutput:
    """Keeps the output of one machine from one look to the next.

    As long as the readings only follow on and the runs stay as they are, the points so far
    stay too: those up to the last known reading depend on nothing behind it.
    """

    def __init__(self) -> None:
        self._stands_on: tuple[object, tuple[RunSpan, ...]] | None = None
        self._read = 0
        self._points: _Points | None = None
        self._made: MachineOutput | None = None

    def output(
        self,
        readings: tuple[Ints, Ints, Ints],
        runs: Sequence[RunSpan],
        until_us: int,
        epoch: object,
    ) -> MachineOutput:
        """The output, as ``output_of_runs`` lays it out from the start.

        Args:
            readings: Instants, ascending, none after ``until_us``; cumulative parts at each;
                the id of the run that each named, 0 where it named none; shape (readings,).
            runs: The runs that began, in order of time.
            until_us: End of the last run where nobody said it [µs].
            epoch: Changes when readings did more than follow on.
        """
        size = readings[0].size
        stands_on = (epoch, tuple(runs))
        points = self._points
        if points is None or stands_on != self._stands_on or not 0 < self._read <= size:
            self._points = _Points(_lay_out(readings, runs, until_us))
            self._made = self._points.output()
        elif size > self._read or self._made is None:
            # the last known reading is where the new ones begin
            at_us, total, named = (column[self._read - 1 :] for column in readings)
            self._made = points.with_more(_lay_out((at_us, total, named), runs, until_us))
        self._stands_on, self._read = stands_on, size
        return self._made


class _Points:
    """The points of an output, with room for more."""

    def __init__(self, first: MachineOutput) -> None:
        self._at_us = GrowingColumn(first.at_us)
        self._total = GrowingColumn(first.total)
        self._run = GrowingColumn(first.run)

    def with_more(self, more: MachineOutput) -> MachineOutput:
        """All points, once those behind the first of ``more`` are put to them."""
        self._at_us.append(more.at_us[1:])
        self._total.append(more.total[1:])
        self._run.append(more.run[1:])
        return self.output()

    def output(self) -> MachineOutput:
        """The points as they are now."""
        return MachineOutput(self._at_us.all(), self._total.all(), self._run.all())


def _lay_out(
    readings: tuple[Ints, Ints, Ints], runs: Sequence[RunSpan], until_us: int
) -> MachineOutput:
    at_us, total, named_id = readings
    windows = run_windows(
        [run.began_us for run in runs], [run.stopped_us for run in runs], until_us
    )
    return machine_output(
        at_us, total, numbers_of(named_id, [run.run_id for run in runs]), *windows
    )
