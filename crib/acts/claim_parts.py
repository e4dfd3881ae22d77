"""A person says which run made the parts that belong to none."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from crib.clock import instant_from_us, print_instant, us_from_instant
from crib.errors import Conflict, NotKnown
from crib.planning.output import MachineOutput
from crib.planning.parts_without_run import (
    RunOffered,
    output_of_machine,
    run_span,
    runs_offered,
)
from crib.planning.runless import Runless, runless_parts, runless_total
from crib.records.catalogue import RUNS
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.path_counts import charges_around, paths_with_counts
from crib.store.records import get_record, list_records, update_record
from crib.store.resolve import machine_id_by_name
from crib.store.stations import runs_of

#: Parts are looked for over so long.
_LOOK_BACK = timedelta(days=366)


@dataclass(frozen=True, slots=True)
class ClaimParts:
    """That a run made parts which belong to none so far.

    Attributes:
        run: Number of the run.
        since: When the first of the parts were made, as the view of them says; None: the
            latest that may be this run's.
    """

    run: int
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class PartsClaimed:
    """The outcome of a claim.

    Attributes:
        run: Number of the run.
        machine: Its machine.
        part: What it makes.
        state: planned, running or done.
        start_at: When it started.
        end_at: When it ended; None while it runs or nobody said.
        parts: Parts that are charged to it now and belonged to no run before.
        sentence: The same in words.
    """

    run: int
    machine: str
    part: str
    state: str
    start_at: datetime | None
    end_at: datetime | None
    parts: int
    sentence: str


def claim_parts(tx: Tx, present: datetime, command: ClaimParts) -> PartsClaimed:
    """Charge parts that belong to no run to one, and so to the edges that were there.

    A planned run starts with the first of them; a run that began later began with them; one
    that ended before went on to the last of them.

    Raises:
        NotKnown: There is no such run.
        Conflict: There are no such parts, or another run is in the way.
    """
    run = _run(tx, command.run)
    machine_id = machine_id_by_name(tx, run["machine"])
    before = _output(tx, machine_id, present)
    stretch, offered = _stretch(tx, machine_id, before, run, command.since)
    if offered.how == "ended_before":
        values: dict[str, object] = {"end_at": instant_from_us(stretch.end_us)}
    else:
        values = {"start_at": instant_from_us(stretch.begin_us)}
    if offered.how == "planned":
        _end_what_ran(tx, run["machine"], stretch)
        values["state"] = "running"
    update_record(tx, RUNS, run["id"], values)
    now = get_record(tx, RUNS, run["id"])
    parts = round(runless_total(before) - runless_total(_output(tx, machine_id, present)))
    return PartsClaimed(
        now["id"],
        now["machine"],
        now["part"],
        now["state"],
        now["start_at"],
        now["end_at"],
        parts,
        sentence(
            "{parts} parts are charged to the run of {part} now, and to the edges that "
            "were in the machine.",
            parts=parts,
            part=now["part"],
        ),
    )


def _run(tx: Tx, number: int) -> dict[str, Any]:
    run = get_record(tx, RUNS, number)
    if run["retired_at"] is not None:
        raise NotKnown(
            sentence("Run {number} is not on record any more.", number=number),
            facts={"run": number},
        )
    return run


def _output(tx: Tx, machine_id: int, present: datetime) -> MachineOutput:
    """The output that has most parts without a run: the machine's, or a path's of its own."""
    now_us = us_from_instant(present)
    first_us = us_from_instant(present - _LOOK_BACK)
    runs = runs_of(tx, machine_id)
    outputs = [
        output_of_machine(charges_around(tx, machine_id, path, first_us, now_us), runs, now_us)
        for path in (None, *paths_with_counts(tx, machine_id))
    ]
    return max(outputs, key=runless_total)


def _stretch(
    tx: Tx,
    machine_id: int,
    output: MachineOutput,
    run: dict[str, Any],
    since: datetime | None,
) -> tuple[Runless, RunOffered]:
    """The parts that a run may have made, and how.

    Raises:
        Conflict: There are no such parts, or other runs lie between.
    """
    runs = [run_span(one) for one in runs_of(tx, machine_id)]
    where = run["machine"]
    stretches = runless_parts(output)
    if since is not None:
        wanted = us_from_instant(since)
        stretches = [one for one in stretches if one.begin_us == wanted]
    for stretch in reversed(stretches):
        for offered in runs_offered(stretch, runs):
            if offered.run == run["id"]:
                return stretch, offered
    if not stretches:
        facts = {"run": run["id"], "machine": where}
        if since is not None:
            raise Conflict(
                sentence(
                    "All parts of {where} made since {since} belong to a run: nothing is "
                    "left to assign. Read the list again.",
                    where=where,
                    since=print_instant(since),
                ),
                facts=facts,
            )
        raise Conflict(
            sentence(
                "All parts of {where} belong to a run: nothing is left to assign. Read "
                "the list again.",
                where=where,
            ),
            facts=facts,
        )
    raise Conflict(
        sentence(
            "Another run of {where} lies between that of {part} and the parts without a "
            "run. Correct the start and the end of the runs in runs.csv, or by PATCH "
            "/v1/runs.",
            where=where,
            part=run["part"],
        ),
        facts={"run": run["id"], "machine": where},
    )


def _end_what_ran(tx: Tx, machine: str, stretch: Runless) -> None:
    """Call the run done that is on record as running although it ended before."""
    for other in list_records(tx, RUNS, filters={"machine": machine, "state": "running"}):
        begin = instant_from_us(stretch.begin_us)
        ended = other["end_at"] or begin
        update_record(tx, RUNS, other["id"], {"state": "done", "end_at": min(ended, begin)})
