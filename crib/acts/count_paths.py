"""Whose counter each reading of a batch is of: a path's own, or the one for all paths."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from crib.acts.count_columns import CountColumns
from crib.arrays import Ints
from crib.errors import Invalid
from crib.floor.path_counters import path_number
from crib.sentence import sentence, together
from crib.store.counts import Counted, counters_of
from crib.store.engine import Tx


class OfCounter(NamedTuple):
    """Readings of one counter: their places in the batch, and why they cannot be taken."""

    counter: Counted
    place: Ints
    columns: CountColumns
    problem: tuple[str, str] | None


def by_counter(tx: Tx, machine_id: int, machine: str, columns: CountColumns) -> list[OfCounter]:
    """A batch split by the counters that its readings are of.

    Args:
        tx: An open transaction.
        machine_id: The machine.
        machine: Its name.
        columns: The batch.

    Raises:
        Invalid: Counts of several paths of a machine that has one counter for all.
    """
    counters, _ = counters_of(tx, machine_id)
    everything = np.arange(len(columns))
    if not counters:
        columns = _named(machine, columns)
        return [OfCounter(Counted(machine_id), everything, columns, None)]
    paths = columns.path if columns.path is not None else [None] * len(columns)
    places: dict[int, list[int]] = defaultdict(list)
    for place, path in enumerate(paths):
        number = path_number(path)
        places[number if number is not None and number in counters else 0].append(place)
    known = ", ".join(map(str, counters))
    return [
        OfCounter(
            Counted(machine_id, path),
            np.array(found, dtype=np.int64),
            columns.only(found),
            None
            if path
            else (
                "no_path",
                sentence(
                    "{machine} has a part counter for each of the paths {known}, and "
                    "this count names none of them: say with path whose it is.",
                    machine=machine,
                    known=known,
                ),
            ),
        )
        for path, found in sorted(places.items())
    ]


def _named(machine: str, columns: CountColumns) -> CountColumns:
    """A batch for the one counter of all paths: another path's is another counter's."""
    if columns.path is None:
        return columns
    paths = {str(path)[:60] for path in columns.path if path not in (None, "")}
    if len(paths) > 1:
        raise Invalid(
            sentence(
                "These are counts of paths {paths}: {machine} has one part counter "
                "here. Send the counts of one path, or give each path its counter "
                "(path_counters of the machine).",
                paths=together(", ", sorted(paths)[:20]),
                machine=machine,
            ),
            errors=[{"field": "readings", "detail": sentence("counts of more than one path")}],
        )
    if columns.source is not None or not paths:
        return columns
    source = [
        None if path in (None, "") else sentence("posted, path {path}", path=path)
        for path in columns.path
    ]
    return replace(columns, source=source)
