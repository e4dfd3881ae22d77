"""What a process keeps of the counters between two plans: readings and their outputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from crib.outlook.shop_read import ShopRead, read_whole
from crib.planning.growing_output import GrowingOutput, RunSpan
from crib.planning.output import MachineOutput
from crib.planning.path_lines import Line, line_of_path
from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.readings import NO_READINGS, GrowingReadings, Readings
from crib.store.shop_records import RunOfShop


class KeptOutput:
    """Readings and outputs of every machine; a plan pays for what came in since the last one.

    Not thread-safe.
    """

    def __init__(self) -> None:
        self._readings = GrowingReadings()
        self._outputs: dict[Counted, GrowingOutput] = {}

    def look(self, tx: Tx, as_of_us: int) -> ShopRead:
        """The shop as the facts dated up to an instant tell it [µs]."""
        return read_whole(tx, as_of_us, self.read(tx, as_of_us))

    def read(self, tx: Tx, as_of_us: int) -> dict[Counted, Readings]:
        """Every counter's readings dated up to an instant [µs]."""
        return self._readings.read(tx, as_of_us)

    def output(
        self,
        counter: Counted,
        read: Mapping[Counted, Readings],
        runs: Sequence[RunOfShop],
        now_us: int,
        *,
        counted: bool = True,
    ) -> MachineOutput:
        """The output of a machine, as a counter of it charges it.

        Args:
            counter: The counter.
            read: All readings as ``read`` gave them last.
            runs: The machine's runs that began, in order of time.
            now_us: End of the last run where nobody said it [µs].
            counted: Whether the machine's record gives the counter's path one of its own.
        """
        spans = [RunSpan(run.id, run.start_at or 0, run.end_at) for run in runs]
        kept = self._outputs.setdefault(counter, GrowingOutput())
        line = line_of_counter(read, counter, counted=counted)
        epoch = [self._readings.epoch(counter.machine_id)]
        own = read.get(counter, NO_READINGS).at_us.size if counter.path else 0
        if own:
            # the counts before the path's own stand as long as they are as many
            head = int(np.searchsorted(line[0], read[counter].at_us[0]))
            tail = 0 if counted else own
            epoch += [self._readings.epoch(*counter), head, tail]
        return kept.output(line, spans, now_us, tuple(epoch))


def line_of_counter(
    read: Mapping[Counted, Readings], counter: Counted, *, counted: bool
) -> Line:
    """The readings that a counter charges with, out of all that were read."""
    whole = read.get(Counted(counter.machine_id), NO_READINGS)
    own = read.get(counter, NO_READINGS) if counter.path else NO_READINGS
    return line_of_path(whole, own, counted=counted)
