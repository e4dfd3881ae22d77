"""Readings of a part counter that cannot be taken whatever the counter says."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from crib.acts.count_columns import CountColumns
from crib.acts.counts_ahead import latest_us
from crib.arrays import Ints
from crib.clock import instant_from_us, print_instant
from crib.sentence import sentence
from crib.store.stations import RunRow

#: Reason and sentence of each reading that cannot be taken, by its place.
Problems = dict[int, tuple[str, str]]


def judge_readings(
    columns: CountColumns, present: datetime, runs: Sequence[RunRow]
) -> tuple[Problems, Ints | None]:
    """Readings that cannot be taken whatever the counter says, and the runs named (0: none)."""
    problems: Problems = {row.index: (row.reason, row.sentence) for row in columns.unreadable}
    for index in np.flatnonzero(columns.at_us < 0):
        at = print_instant(instant_from_us(int(columns.at_us[index])))
        problems[int(index)] = (
            "too_old",
            sentence(
                "{at} is too long ago for a part count: check the clock that sent it.",
                at=at,
            ),
        )
    for index in np.flatnonzero(columns.at_us > latest_us(present)):
        at = print_instant(instant_from_us(int(columns.at_us[index])))
        problems[int(index)] = (
            "in_future",
            sentence(
                "{at} lies in the future (it is {present}): check the clock that sent it.",
                at=at,
                present=print_instant(present),
            ),
        )
    if columns.run is None:
        return problems, None
    run_ids = np.zeros(len(columns), dtype=np.int64)
    known: dict[object, int] = {}
    for place, name in enumerate(columns.run):
        if name is None:
            continue
        if name not in known:
            known[name] = _run_id(name, runs)
        run_ids[place] = known[name]
        if not known[name]:
            problems.setdefault(
                place,
                (
                    "unknown_run",
                    sentence(
                        "Run '{name}' is not a run of this machine: name one of its runs, or "
                        "none.",
                        name=str(name)[:40],
                    ),
                ),
            )
    return problems, run_ids


def _run_id(name: str | int, runs: Sequence[RunRow]) -> int:
    """A run by its number, or the only one that is not planned by its part; 0 for none."""
    text = str(name).strip()
    for run in runs:
        if text == str(run.id):
            return run.id
    of_part = [run for run in runs if run.part == text and run.state != "planned"]
    return of_part[-1].id if of_part else 0
