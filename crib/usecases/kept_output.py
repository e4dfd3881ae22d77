"""What a process keeps of the counters between two plans: readings and their outputs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from crib.planning.growing_output import GrowingOutput, RunSpan
from crib.planning.output import MachineOutput
from crib.store.engine import Tx
from crib.store.readings import GrowingReadings, Readings


class KeptOutput:
    """Readings and outputs of every machine; a plan pays for what came in since the last one.

    Not for several threads at once.
    """

    def __init__(self) -> None:
        self._readings = GrowingReadings()
        self._outputs: dict[int, GrowingOutput] = {}

    def read(self, tx: Tx, as_of_us: int) -> dict[int, Readings]:
        """Every machine's readings dated up to an instant [µs], by machine id."""
        return self._readings.read(tx, as_of_us)

    def output(
        self, machine_id: int, readings: Readings, runs: Sequence[Any], now_us: int
    ) -> MachineOutput:
        """The output of a machine.

        Args:
            machine_id: The machine.
            readings: Its readings as ``read`` gave them last.
            runs: Its runs that began, in order of time.
            now_us: End of the last run where nobody said it [µs].
        """
        spans = [RunSpan(run.id, run.start_at or 0, run.end_at) for run in runs]
        kept = self._outputs.setdefault(machine_id, GrowingOutput())
        epoch = self._readings.epoch(machine_id)
        return kept.output(readings, spans, now_us, epoch)
