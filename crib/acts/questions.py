"""Where a machine says that another tool sits in a station than the records do: asked about.

It records nothing: a person scans what sits there, or says what is right.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from itertools import groupby

from crib.acts.question import NOT_SCANNED, OTHER_TOOL, Question
from crib.acts.signal_breakage import stations_by_number
from crib.acts.unclear_breakages import unclear_breakages
from crib.clock import print_instant
from crib.codes import looks_like_code
from crib.errors import Refusal
from crib.left_out import Kept, each
from crib.sentence import sentence
from crib.store.assemblies import AssemblyRow, assembly_row
from crib.store.dismissal_rows import Sighting, standing_dismissals
from crib.store.engine import Tx
from crib.store.heard_rows import ToolSeen, heard_machines, states_now, tools_named
from crib.store.mounts import MountRow, last_in_station
from crib.store.resolve import resolve
from crib.store.stations import StationRow, stations_of

#: So long after a tool change that the machine saw, its mount may be scanned still.
SCANNED_WITHIN = timedelta(minutes=30)


def list_questions(tx: Tx, present: datetime, machine_id: int | None = None) -> Kept[Question]:
    """Every question that is open: breakages first, then by machine and station.

    A breakage waits for a person's answer. Another question goes when a mount or removal
    is recorded there after the machine spoke, when
    the machine names what is on record, or when a person dismisses it. What cannot be
    compared is left out, and named in ``problems``.

    Args:
        tx: An open transaction.
        present: Now.
        machine_id: Only those of this machine.
    """
    dismissed = standing_dismissals(tx)
    seen_last = [*tools_named(tx), *_named_alone(tx)]
    named = [one for one in seen_last if machine_id in (None, one.machine_id)]
    named.sort(key=lambda one: (one.machine, one.path, one.tool_number, one.last_us))
    found: Kept[Question] = Kept(unclear_breakages(tx, machine_id))

    stations: dict[int, tuple[StationRow, ...]] = {}

    def ask(tools: Sequence[ToolSeen]) -> None:
        last = tools[-1]
        if last.machine_id not in stations:
            stations[last.machine_id] = stations_of(tx, last.machine_id)
        station = _station(stations[last.machine_id], last)
        if station is not None:
            question = _question(tx, present, station, tools)
            if question is not None and not _is_dismissed(station, question, dismissed):
                found.append(question)

    by_place = groupby(named, key=lambda one: (one.machine_id, one.path, one.tool_number))
    found.problems = tuple(each([list(seen) for _, seen in by_place], ask, _not_compared))
    return found


def _not_compared(tools: Sequence[ToolSeen]) -> str:
    last = tools[-1]
    return sentence(
        "It is not known whether tool number {tool_number} of machine "
        "{machine} is the one on record. Look at the station. The service log "
        "has the details.",
        tool_number=last.tool_number,
        machine=last.machine,
    )


def _named_alone(tx: Tx) -> list[ToolSeen]:
    """Tools that a machine named last without a word of the number: it stayed the same.

    A number that follows within seconds takes the tool with it, and the question goes.
    """
    found = []
    states = states_now(tx)
    for machine in heard_machines(tx):
        now = {(one.kind, one.path): one for one in states.get(machine.id, ())}
        for (kind, path), asset in now.items():
            number = now.get(("TOOL_NUMBER", path))
            if kind != "TOOL_ASSET_ID" or number is None or asset.since_us <= number.since_us:
                continue
            if asset.value and number.value and number.value.isdecimal():
                tool = int(number.value), asset.value
                found.append(
                    ToolSeen(machine.id, machine.machine, path, *tool, *[asset.since_us] * 2)
                )
    return found


def sighting_of(station_id: int, one: Question) -> Sighting:
    """What a question is about, as dismissals keep it."""
    return Sighting(station_id, one.path, one.tool_number, one.says, one.mount_id)


def _is_dismissed(
    station: StationRow, one: Question, dismissed: Mapping[Sighting, datetime]
) -> bool:
    since = dismissed.get(sighting_of(station.id, one))
    # what the machine names since later is another sighting of the same tool
    return since is not None and one.since <= since


def _station(stations: tuple[StationRow, ...], seen: ToolSeen) -> StationRow | None:
    """The one station that a tool number of a path means; None where it is not clear."""
    number = re.search(r"[0-9]+\Z", seen.path)
    of_path = stations_by_number(stations, seen.tool_number, int(number[0]) if number else None)
    anywhere = stations_by_number(stations, seen.tool_number, None)
    # a machine with a single path may call it anything
    found = of_path or anywhere
    return found[0] if len(found) == 1 else None


def _question(
    tx: Tx, present: datetime, station: StationRow, tools: Sequence[ToolSeen]
) -> Question | None:
    last = tools[-1]
    # the same tool may have been there before: it came back after the one seen before it
    since = max([last.first_at, *(one.last_at for one in tools[:-1])])
    mount = last_in_station(tx, station.id)
    event = None if mount is None else mount.removed_at or mount.at
    if event is not None and event > last.last_at:
        return None  # the record is younger than what the machine said
    sits = None
    if mount is not None and mount.removed_at is None:
        sits = assembly_row(tx, mount.assembly_id)
    ours = _ours(tx, last.asset)
    if ours is not None:
        if sits is not None and sits.id == ours.id:
            return None
        return _asked(OTHER_TOOL, station, last, since, sits, ours.code, mount)
    if len(tools) > 1 and _missed(present, since, mount):
        return _asked(NOT_SCANNED, station, last, since, sits, last.asset, mount)
    return None


def _missed(present: datetime, since: datetime, mount: MountRow | None) -> bool:
    """Whether a change that the machine saw had its time to be scanned, and was not."""
    if present < since + SCANNED_WITHIN:
        return False
    return mount is None or mount.at < since - SCANNED_WITHIN


def _ours(tx: Tx, asset: str) -> AssemblyRow | None:
    """The tool whose label carries what the machine names; None where it is not ours."""
    if not looks_like_code(asset):
        return None
    try:
        return assembly_row(tx, resolve(tx, asset, "A").id)
    except Refusal:
        return None  # it only looks like one of our codes


def _asked(
    kind: str,
    station: StationRow,
    last: ToolSeen,
    since: datetime,
    sits: AssemblyRow | None,
    says: str,
    mount: MountRow | None,
) -> Question:
    return Question(
        kind=kind,
        machine=station.machine,
        station=station.mark,
        station_code=station.code,
        path=last.path,
        tool_number=last.tool_number,
        says=says,
        on_record=sits.code if sits else None,
        mount_id=mount.id if mount and sits else None,
        since=since,
        sentence=_sentence(kind, station, since, says, sits),
    )


def _sentence(
    kind: str, station: StationRow, since: datetime, says: str, sits: AssemblyRow | None
) -> str:
    when = print_instant(since)
    if kind == OTHER_TOOL and sits is None:
        return sentence(
            "Since {when} machine {machine} reports {says} in {station}, but no tool is on "
            "record there: scan it, or say what is right.",
            machine=station.machine,
            when=when,
            says=says,
            station=station.station,
        )
    if kind == OTHER_TOOL and sits is not None:
        return sentence(
            "Since {when} machine {machine} reports {says} in {station}, but {code} is on "
            "record: scan it, or say what is right.",
            machine=station.machine,
            when=when,
            says=says,
            station=station.station,
            code=sits.code,
        )
    if sits is None:
        return sentence(
            "Machine {machine} changed to tool '{says}' in {station} at {when}. "
            "Nobody scanned a mount, and no tool is on record there: scan it, or "
            "say what is right.",
            machine=station.machine,
            says=says,
            station=station.station,
            when=when,
        )
    return sentence(
        "Machine {machine} changed to tool '{says}' in {station} at {when}. "
        "Nobody scanned a mount, and {code} is still on record: scan the new "
        "tool, or say what is right.",
        machine=station.machine,
        says=says,
        station=station.station,
        when=when,
        code=sits.code,
    )
