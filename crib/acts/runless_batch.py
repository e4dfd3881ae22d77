"""What a batch of counts adds to the parts that belong to no run."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from crib.arrays import Ints
from crib.clock import us_from_instant
from crib.floor.count import Absorbed, KnownCounts
from crib.planning.output import MachineOutput
from crib.planning.parts_without_run import (
    output_of_machine,
    run_span,
    runs_offered,
    sentence_of,
)
from crib.planning.runless import runless_parts, runless_total
from crib.store.stations import RunRow


def new_without_run(
    present: datetime,
    runs: Sequence[RunRow],
    known: KnownCounts,
    taken: Absorbed,
    named: Ints | None,
) -> tuple[int, str | None]:
    """How many parts of a batch belong to no run, and what to do about them; None for none.

    Args:
        present: Now.
        runs: The machine's runs.
        known: The readings around the batch before it.
        taken: What the batch added and changed.
        named: Id of the run that each reading taken in named, 0 for none; None: none did.
    """
    if not taken.index.size:
        return 0, None
    none = np.zeros(known.at_us.size, dtype=np.int64)
    before = _output((known.at_us, known.total, none), runs, present)
    at_us = np.concatenate([known.at_us, taken.at_us])
    order = np.argsort(at_us, kind="stable")
    total = np.concatenate([taken.known_total, taken.total])
    new = np.zeros(taken.at_us.size, dtype=np.int64) if named is None else named
    line = at_us[order], total[order], np.concatenate([none, new])[order]
    after = _output(line, runs, present)
    stretches = runless_parts(after)
    parts = int(np.floor(runless_total(after) - runless_total(before) + 1e-6))
    if parts < 1 or not stretches:
        return 0, None
    last = stretches[-1]
    offered = runs_offered(last, [run_span(run) for run in runs])
    return parts, sentence_of(last, offered)


def _output(
    line: tuple[Ints, Ints, Ints], runs: Sequence[RunRow], present: datetime
) -> MachineOutput:
    latest = int(line[0][-1]) if line[0].size else 0
    return output_of_machine(line, runs, max(us_from_instant(present), latest))
