"""Part counts as machines and people report them: each part counted once, none dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

import numpy as np

from crib.acts.count_columns import CountColumns, CountReading, columns_from_readings
from crib.acts.count_paths import OfCounter, by_counter
from crib.acts.counts_ahead import beside_what_is_past, latest_us
from crib.acts.judge_readings import Problems, judge_readings
from crib.acts.runless_batch import new_without_run
from crib.acts.told_sets import restart_set_counters
from crib.acts.who_and_when import WhoAndWhen, record, who_and_when
from crib.arrays import Floats, Ints
from crib.clock import instant_from_us, print_instant, us_from_instant
from crib.errors import Invalid
from crib.floor.behind_set import readings_behind_set
from crib.floor.count import Absorbed, KnownCounts, absorb
from crib.floor.line import AS_COUNTED
from crib.sentence import sentence
from crib.store.counts import (
    Counted,
    Refused,
    delete_ahead,
    insert_batch,
    insert_readings,
    insert_refusals,
    known_around,
    new_refusals,
    parts_per_cycle,
    renumber,
    source_ids,
)
from crib.store.engine import Tx
from crib.store.feeds import gap_found_since, insert_gap
from crib.store.last_counts import FAR_US
from crib.store.resolve import machine_id_by_name
from crib.store.stations import RunRow, runs_of
from crib.store.verdict_rows import doubted_after

#: Most readings in one call.
MOST_READINGS = 50_000
_AN_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class ReportCounts:
    """What a machine's part counter said.

    Attributes:
        machine: Name of the machine.
        readings: Readings in any order, or whole columns of them.
    """

    machine: str
    readings: Sequence[CountReading] | CountColumns
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


#: Longest text of a reading that is kept aside; no instant, count or run is longer.
_LONGEST_KEPT = 200


@dataclass(frozen=True, slots=True)
class RefusedCount:
    """A reading that is kept aside: its place in the batch, what it said, why."""

    index: int
    at: datetime | None
    count: object
    reason: str
    sentence: str


@dataclass(frozen=True, slots=True)
class CountsReported:
    """What became of a batch.

    ``fact_id`` is None where it brought nothing new. ``parts_without_run`` are parts in it
    of and that belong to no run, ``without_run`` says what to do about them.
    """

    fact_id: int | None
    accepted: int
    duplicates: int
    resets_seen: int
    rollovers_seen: int
    refused: tuple[RefusedCount, ...]
    parts_without_run: int = 0
    without_run: str | None = None


def report_counts(tx: Tx, present: datetime, command: ReportCounts) -> CountsReported:
    """Take readings in; the order and the batches in which they arrive do not matter.

    Raises:
        Invalid: No readings, more than ``MOST_READINGS``, or counts of several paths of a
            machine that has one counter.
        NotKnown: No such machine.
    """
    told = who_and_when(tx, present, command)
    machine_id = machine_id_by_name(tx, command.machine)
    columns = _columns(command.readings)
    split = by_counter(tx, machine_id, command.machine, columns)
    return _together([(one, _report(tx, present, told, one)) for one in split])


def _together(done: Sequence[tuple[OfCounter, CountsReported]]) -> CountsReported:
    """What became of a batch, by what became of the readings of each counter."""
    reports = [report for _, report in done]
    refused = [
        replace(row, index=int(one.place[row.index]))
        for one, report in done
        for row in report.refused
    ]
    return CountsReported(
        next((one.fact_id for one in reports if one.fact_id is not None), None),
        sum(one.accepted for one in reports),
        sum(one.duplicates for one in reports),
        sum(one.resets_seen for one in reports),
        sum(one.rollovers_seen for one in reports),
        tuple(sorted(refused, key=lambda row: row.index)),
        # each path has its own counter, and a part is finished once
        max(one.parts_without_run for one in reports),
        next((one.without_run for one in reports if one.without_run), None),
    )


def _report(tx: Tx, present: datetime, told: WhoAndWhen, batch: OfCounter) -> CountsReported:
    """Take the readings of one counter in."""
    counter, columns = batch.counter, batch.columns
    runs = runs_of(tx, counter.machine_id)
    problems, run_ids = judge_readings(columns, present, runs)
    if batch.problem is not None:
        for place in range(len(columns)):
            problems.setdefault(place, batch.problem)
    fit = np.ones(len(columns), dtype=np.bool_)
    fit[list(problems)] = False
    good = np.flatnonzero(fit)
    at_us = columns.at_us[good]
    begun = restart_set_counters(
        tx,
        counter,
        (at_us, columns.count[good]),
        partial(fastest_between, runs),
        absorb_into,
    )
    known = KnownCounts.none()
    if good.size:
        known = known_around(tx, counter, int(at_us.min()), int(at_us.max()))
    at_once = parts_per_cycle(tx, counter)
    source = _sources(tx, counter, columns)

    def absorbed(known: KnownCounts) -> Absorbed:
        named = None if run_ids is None else run_ids[good]
        fastest_s = _fastest_s(runs, known.at_us, at_us, named)
        return absorb(
            known,
            at_us,
            columns.count[good],
            fastest_s,
            parts_per_cycle=at_once,
            source=source[good],
        )

    known, taken, ahead = beside_what_is_past(tx, counter, present, known, absorbed)
    behind = _behind_set(tx, counter, known, taken, (at_us, columns.count[good]))
    if behind:
        problems.update({int(good[index]): why for index, why in behind.items()})
        good = np.delete(good, list(behind))
        at_us = columns.at_us[good]
        known, taken, ahead = beside_what_is_past(tx, counter, present, known, absorbed)
    for row in taken.refused:
        problems[int(good[row.index])] = (row.reason, row.sentence)
    refused = _refused(columns, problems)
    kept_aside = new_refusals(
        tx, counter, [*ahead, *(_kept_aside(columns, row) for row in refused)]
    )
    fact_id, named = None, None if run_ids is None else run_ids[good][taken.index]
    if taken.index.size or kept_aside or ahead or begun:
        fact_id = record(tx, "count", told)
        insert_batch(
            tx,
            fact_id,
            counter,
            accepted=int(taken.index.size) + begun,
            duplicates=int(taken.duplicate.sum()),
            refused=len(refused) + len(ahead),
        )
        insert_refusals(tx, fact_id, counter, kept_aside)
        if ahead:
            delete_ahead(tx, counter, latest_us(present))
        _write(tx, fact_id, counter, known, taken, named)
        _tell_baselines(tx, counter, present, taken)
    runless = new_without_run(present, runs, known, taken, named)
    return CountsReported(
        fact_id,
        int(taken.index.size),
        int(taken.duplicate.sum()),
        taken.resets_seen,
        taken.rollovers_seen,
        refused,
        *runless,
    )


def _tell_baselines(tx: Tx, counter: Counted, present: datetime, taken: Absorbed) -> None:
    """Record that parts may be missing, at most once an hour each."""
    seen = {"other_counter": taken.counters_changed, "long_pause": taken.pauses_seen}
    for reason, number in seen.items():
        if number and not gap_found_since(tx, counter.machine_id, reason, present - _AN_HOUR):
            insert_gap(tx, counter.machine_id, present, reason, None, None)


def _behind_set(
    tx: Tx,
    counter: Counted,
    known: KnownCounts,
    taken: Absorbed,
    batch: tuple[Ints, Ints],
) -> dict[int, tuple[str, str]]:
    """Readings that look true only because a counter that was set has caught up by now.

    Returns:
        Reason and sentence of each, by its place among those that were taken in.
    """
    if not taken.index.size:
        return {}
    new = taken.at_us > (known.at_us[-1] if known.at_us.size else -FAR_US)
    if not new.any() or not known.at_us.size:
        return {}
    waiting = doubted_after(tx, counter, int(known.at_us[-1]), most=200)
    doubted = [(us_from_instant(one.at), int(one.count)) for one in waiting if one.at]
    at_us, count = batch
    here = [row.index for row in taken.refused if row.reason == "too_fast"]
    doubted += [(int(at_us[index]), int(count[index])) for index in here]
    runs = runs_of(tx, counter.machine_id)
    cycle_s = float(np.nanmin(_fastest_s(runs, known.at_us, taken.at_us, None), initial=np.inf))
    pace = (cycle_s if np.isfinite(cycle_s) else np.nan, parts_per_cycle(tx, counter))
    rows = zip(
        taken.index[new].tolist(), taken.at_us[new].tolist(), taken.count[new].tolist(),
        strict=True,
    )  # fmt: skip
    return {
        index: (
            "behind_set",
            sentence(
                "Count {said} at {instant_from_us} follows on from held counts: "
                "somebody seems to have set the counter. Say what happened.",
                said=said,
                instant_from_us=print_instant(instant_from_us(at)),
            ),
        )
        for index, at, said in readings_behind_set(list(rows), doubted, *pace)
    }


def _sources(tx: Tx, counter: Counted, columns: CountColumns) -> Ints:
    """Id of the counter that each reading is of, 0 where it names none."""
    source = np.zeros(len(columns), dtype=np.int64)
    if columns.source is not None:
        named = dict.fromkeys(one for one in columns.source if one is not None)
        known = source_ids(tx, counter.machine_id, named)
        source[:] = [0 if one is None else known[one] for one in columns.source]
    return source


def _columns(readings: Sequence[CountReading] | CountColumns) -> CountColumns:
    size = len(readings)
    if size == 0:
        raise Invalid(
            sentence("There are no readings: send at least one."),
            errors=[{"field": "readings", "detail": "empty"}],
        )
    if size > MOST_READINGS:
        raise Invalid(
            sentence(
                "{size} readings are too many for one call: send at most "
                "{most_readings}, then the rest.",
                size=size,
                most_readings=MOST_READINGS,
            ),
            errors=[
                {
                    "field": "readings",
                    "detail": sentence("at most {most_readings}", most_readings=MOST_READINGS),
                }
            ],
        )
    if isinstance(readings, CountColumns):
        return readings
    return columns_from_readings(readings)


def _fastest_s(
    runs: Sequence[RunRow],
    known_us: Ints,
    at_us: Ints,
    run_ids: Ints | None,
) -> Floats:
    """Shortest cycle time that could run around each reading [s], NaN where none is known."""
    fastest = np.full(at_us.size, np.nan)
    if not at_us.size:
        return fastest
    times = np.sort(np.concatenate([known_us, at_us]))
    before = times[np.maximum(np.searchsorted(times, at_us, side="left") - 1, 0)]
    after = times[np.minimum(np.searchsorted(times, at_us, side="right"), times.size - 1)]
    started = [run for run in runs if run.state != "planned"]
    for run, begin, end in zip(started, *_windows(started), strict=True):
        could = (begin <= after) & (end >= before)
        if run_ids is not None:
            could |= run_ids == run.id
        fastest[could] = np.fmin(fastest[could], run.cycle_s)
    return fastest


def fastest_between(runs: Sequence[RunRow], left_us: Ints, right_us: Ints) -> Floats:
    """Shortest cycle time that could run between two readings [s], NaN where none is known."""
    return _fastest_s(runs, left_us, right_us, None)


def _windows(runs: Sequence[RunRow]) -> tuple[list[int], list[int]]:
    """From when to when each run was on its machine [µs]; one ends where the next begins."""
    begins = [us_from_instant(run.start_at) if run.start_at else -FAR_US for run in runs]
    ends = []
    for index, run in enumerate(runs):
        following = begins[index + 1] if index + 1 < len(runs) else FAR_US
        ends.append(us_from_instant(run.end_at) if run.end_at else following)
    return begins, ends


def _refused(columns: CountColumns, problems: Problems) -> tuple[RefusedCount, ...]:
    unreadable = {row.index for row in columns.unreadable}
    return tuple(
        RefusedCount(
            index,
            None if index in unreadable else instant_from_us(int(columns.at_us[index])),
            _short(columns.reading(index).get("count")),
            *problems[index],
        )
        for index in sorted(problems)
    )


def _short(value: object) -> object:
    """A value as received; only the beginning of one that is far too long."""
    if value is None or isinstance(value, (bool, int, float)):
        return value
    text = str(value)
    return text if len(text) <= _LONGEST_KEPT else text[:_LONGEST_KEPT] + "…"


def _kept_aside(columns: CountColumns, row: RefusedCount) -> Refused:
    return Refused(
        None if row.at is None else us_from_instant(row.at),
        {name: _short(value) for name, value in columns.reading(row.index).items()},
        row.reason,
        row.sentence,
    )


def _write(
    tx: Tx,
    fact_id: int,
    counter: Counted,
    known: KnownCounts,
    taken: Absorbed,
    run_ids: Ints | None,
) -> None:
    if taken.known_changed.any() or taken.tail_life_shift or taken.tail_total_shift:
        changed = taken.known_changed
        renumber(
            tx,
            counter,
            known.at_us[changed],
            taken.known_life[changed],
            taken.known_total[changed],
            (int(known.at_us[-1]), taken.tail_life_shift, taken.tail_total_shift),
        )
    size = taken.index.size
    named: list[int | None] = [None] * size
    if run_ids is not None:
        named = [run or None for run in run_ids.tolist()]
    columns = (taken.at_us, taken.count, taken.life, taken.total, taken.source, taken.starts)
    insert_readings(tx, fact_id, counter, columns, named)


def absorb_into(
    tx: Tx,
    fact_id: int,
    counter: Counted,
    at_us: Ints,
    count: Ints,
    *,
    believed: bool = False,
    starts: int = AS_COUNTED,
) -> Absorbed:
    """Take readings in by a fact; a batch for them has to be written by the caller.

    Args:
        tx: A write transaction.
        fact_id: The fact by which they come in.
        counter: Their counter.
        at_us: Their instants [µs].
        count: What the counter said.
        believed: Somebody says that they are true: their pace is not questioned.
        starts: How each of them begins.
    """
    known = known_around(tx, counter, int(at_us.min()), int(at_us.max()))
    fastest_s = _fastest_s(runs_of(tx, counter.machine_id), known.at_us, at_us, None)
    taken = absorb(
        known,
        at_us,
        count,
        fastest_s,
        parts_per_cycle=parts_per_cycle(tx, counter),
        believed=believed,
        starts=starts,
    )
    if taken.index.size:
        _write(tx, fact_id, counter, known, taken, None)
    return taken


def take_as_true(tx: Tx, fact_id: int, counter: Counted, at_us: int, count: int) -> Absorbed:
    """Take in one reading that somebody says is true, however fast the machine would be.

    Args:
        tx: A write transaction.
        fact_id: The fact by which it comes in.
        counter: Its counter.
        at_us: Its instant [µs].
        count: What the counter said.

    Returns:
        What changed; a reading that contradicts another of the same instant is not taken but
        ``refused``, one that is known already is a ``duplicate``.
    """
    taken = absorb_into(
        tx,
        fact_id,
        counter,
        np.array([at_us], dtype=np.int64),
        np.array([count], dtype=np.int64),
        believed=True,
    )
    if taken.index.size:
        insert_batch(tx, fact_id, counter, accepted=1, duplicates=0, refused=0)
    return taken
