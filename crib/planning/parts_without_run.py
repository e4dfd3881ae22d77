"""Parts that belong to no run, so that no edge wears by them, and the runs they may be of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple, Protocol

from crib.arrays import Ints
from crib.clock import instant_from_us, print_instant, us_from_instant
from crib.planning.output import MachineOutput, TimedRun, output_of_runs, windows_of
from crib.planning.runless import Runless, runless_parts
from crib.sentence import sentence

#: What was made longer ago is only asked about while no run began since [µs].
_ASKED_US = 7 * 24 * 3_600_000_000

#: Runs that are offered as an answer.
_MOST_OFFERED = 4


class AskedRun(TimedRun, Protocol):
    """What is needed of a run that may have made parts."""

    @property
    def id(self) -> int:
        """Its number."""

    @property
    def part(self) -> str:
        """What it makes."""

    @property
    def state(self) -> str:
        """``planned``, ``running`` or ``done``."""


class RunOnRecord(Protocol):
    """A run of a machine, with its instants in time."""

    @property
    def id(self) -> int:
        """Its number."""

    @property
    def part(self) -> str:
        """What it makes."""

    @property
    def state(self) -> str:
        """``planned``, ``running`` or ``done``."""

    @property
    def start_at(self) -> datetime | None:
        """When it began, or is to."""

    @property
    def end_at(self) -> datetime | None:
        """When it ended."""


class RunSpan(NamedTuple):
    """A run and when it was on [µs]."""

    id: int
    part: str
    state: str
    start_at: int | None
    end_at: int | None


def run_span(run: RunOnRecord) -> RunSpan:
    """A run of a machine in microseconds."""
    begin = None if run.start_at is None else us_from_instant(run.start_at)
    end = None if run.end_at is None else us_from_instant(run.end_at)
    return RunSpan(run.id, run.part, run.state, begin, end)


def end_of_done(
    row: Mapping[str, object], change: Mapping[str, object], present: datetime
) -> datetime | None:
    """When a run ended that is set to done now; None where nothing is to be added.

    Without an end it would go on taking the machine's counts. Counts dated before now, however
    late they come, are still its own; later ones are listed as parts without a run.
    """
    after = {**row, **change}
    if after["state"] != "done" or row["state"] == "done" or after["end_at"] is not None:
        return None
    start = after["start_at"]
    return present if isinstance(start, datetime) and start <= present else None


def output_of_machine(
    line: tuple[Ints, Ints, Ints], runs: Iterable[RunOnRecord], until_us: int
) -> MachineOutput:
    """What a machine made for its runs that began.

    Args:
        line: Instants [µs], totals and named runs of its readings.
        runs: Its runs by their start.
        until_us: End of the last one where nobody said it [µs].
    """
    began = [run_span(run) for run in runs if run.state != "planned"]
    return output_of_runs(*line, [run.id for run in began], windows_of(began, until_us))


@dataclass(frozen=True, slots=True)
class RunOffered:
    """A run that may have made parts which belong to none.

    Attributes:
        run: Its number.
        part: What it makes.
        how: ``planned`` (it starts with them), ``began_later`` (it began earlier than is on
            record) or ``ended_before`` (it went on longer).
    """

    run: int
    part: str
    how: str


@dataclass(frozen=True, slots=True)
class PartsWithoutRun:
    """Parts that a machine made for no run: no edge is charged with them.

    Attributes:
        machine: Name of the machine.
        parts: How many.
        since: A run that starts then has them all.
        until: When the last of them was counted.
        runs: Runs that may have made them, the likeliest first.
        sentence: What is wrong and what to do.
    """

    machine: str
    parts: int
    since: datetime
    until: datetime
    runs: tuple[RunOffered, ...]
    sentence: str


def parts_without_run(
    machine: str, output: MachineOutput, runs: Sequence[AskedRun], now_us: int
) -> tuple[PartsWithoutRun, ...]:
    """What one machine made for no run, the latest first.

    Args:
        machine: Its name.
        output: Its output.
        runs: All its runs: ``id``, ``part``, ``state``, ``start_at`` and ``end_at`` [µs].
        now_us: Now [µs].
    """
    starts = [run.start_at or 0 for run in runs if run.state != "planned"]
    last_start = max(starts, default=0)
    found = []
    for one in reversed(runless_parts(output)):
        if one.end_us < now_us - _ASKED_US and one.begin_us < last_start:
            continue
        offered = runs_offered(one, runs)
        found.append(
            PartsWithoutRun(
                machine,
                one.parts,
                instant_from_us(one.begin_us),
                instant_from_us(one.end_us),
                offered,
                sentence_of(one, offered),
            )
        )
    return tuple(found)


def runs_offered(one: Runless, runs: Iterable[AskedRun]) -> tuple[RunOffered, ...]:
    """Runs that may have made such parts: the planned one, those beside it in time."""
    planned, before, after = [], [], []
    for run in runs:
        if run.state == "planned":
            planned.append(run)
        elif (run.start_at or 0) > one.begin_us:
            after.append(run)
        elif run.end_at is not None and run.end_at <= one.end_us:
            before.append(run)
    planned.sort(key=lambda run: (run.start_at is None, run.start_at or 0, run.id))
    after.sort(key=lambda run: run.start_at or 0)
    before.sort(key=lambda run: run.end_at or 0, reverse=True)
    found = [RunOffered(run.id, run.part, "began_later") for run in after[:1]]
    if not after:
        found += [RunOffered(run.id, run.part, "planned") for run in planned]
    found += [RunOffered(run.id, run.part, "ended_before") for run in before[:1]]
    return tuple(found[:_MOST_OFFERED])


def sentence_of(one: Runless, offered: Sequence[RunOffered]) -> str:
    """What is wrong and what to do, for programs."""
    begin, end = (print_instant(instant_from_us(us)) for us in (one.begin_us, one.end_us))
    said = sentence(
        "{parts} parts made from {begin} to {end} belong to no run: no edge is charged with "
        "them.",
        parts=one.parts,
        begin=begin,
        end=end,
    )
    if not offered:
        return sentence(
            "{said} Add the run that made them to runs.csv, or by POST /v1/runs.", said=said
        )
    return sentence(
        "{said} If {part} made them, say so: POST /v1/run-claims with run {run}.",
        said=said,
        part=offered[0].part,
        run=offered[0].run,
    )
