"""An edge broke in its station: a machine, or whatever watches it, says so; its clock stops."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.unclear_breakages import open_breakage
from crib.acts.who_and_when import WhoAndWhen, record, who_and_when
from crib.clock import print_instant
from crib.errors import Conflict, Invalid, NotKnown, NotMounted
from crib.records.columns import LONGEST_TEXT
from crib.sentence import sentence
from crib.store.assemblies import assembly_row
from crib.store.breakage_rows import breakage_of, insert_breakage, taken_back_breakage
from crib.store.doubt_rows import insert_answer
from crib.store.engine import Tx
from crib.store.mounts import MountRow, mount_covering
from crib.store.resolve import machine_id_by_name, resolve_station
from crib.store.stations import StationRow, station_row, stations_of


@dataclass(frozen=True, slots=True)
class SignalBreakage:
    """Say that an edge broke.

    Attributes:
        signal: What says so, in the words of the machine or of whatever watches it.
        station: Code of the station or MACHINE/STATION; this, or machine and tool_number.
        machine: Name of the machine.
        tool_number: The tool's number in the program.
        path: Path of the control, where the number is used in several.
        question: Number of a breakage that waited for an answer: it was this tool.
    """

    signal: str
    station: str | None = None
    machine: str | None = None
    tool_number: int | None = None
    path: int | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None
    question: int | None = None


@dataclass(frozen=True, slots=True)
class BreakageSignalled:
    """A signal on record.

    Attributes:
        fact_id: The signal; None where the same was known already.
        assembly: Code of the tool whose edge broke.
        station: MACHINE/STATION.
        mount_id: The stay that it broke in.
        at: When it broke.
        signal: What said so.
        sentence: The outcome, and what to do.
    """

    fact_id: int | None
    assembly: str
    station: str
    mount_id: int
    at: datetime
    signal: str
    sentence: str


def signal_breakage(tx: Tx, present: datetime, command: SignalBreakage) -> BreakageSignalled:
    """Record that the edge in a station broke; parts after it are not charged to it.

    The first signal of a stay counts: a second one, or the same again, changes nothing. Nor
    does one that a person took back: machines repeat what still holds.

    Raises:
        NotMounted: Nothing was on record in that station then.
        Conflict: The tool number is used in several paths, or the breakage that it answers
            was answered since, or is known of that tool.
        Invalid: Neither a station nor a tool number, or no signal.
        NotKnown: A machine, station or tool number that is not there.
    """
    told = who_and_when(tx, present, command, as_dated=True)
    signal = command.signal.strip()
    if not 1 <= len(signal) <= LONGEST_TEXT:
        raise Invalid(
            sentence(
                "Say what signals the breakage (1 to {longest_text} characters).",
                longest_text=LONGEST_TEXT,
            ),
            errors=[
                {
                    "field": "signal",
                    "detail": sentence(
                        "1 to {longest_text} characters", longest_text=LONGEST_TEXT
                    ),
                }
            ],
        )
    station = _station(tx, command)
    mount = mount_covering(tx, station.id, told.at)
    if mount is None:
        raise NotMounted(
            sentence(
                "No tool was on record in {mark} at {at}: the signal fits no tool. "
                "Record the mount first, with the time when it happened.",
                mark=station.mark,
                at=print_instant(told.at),
            ),
            facts={"station": station.mark, "at": print_instant(told.at)},
        )
    if command.question is None:
        return _signalled(tx, told, station, mount, signal)
    open_breakage(tx, command.question)
    done = _signalled(tx, told, station, mount, signal)
    if done.fact_id is None:
        raise Conflict(
            sentence(
                "{sentence} If that answers the question, dismiss it and say so.",
                sentence=done.sentence,
            ),
            facts={"question": command.question},
        )
    insert_answer(tx, done.fact_id, command.question)
    return done


def _signalled(
    tx: Tx, told: WhoAndWhen, station: StationRow, mount: MountRow, signal: str
) -> BreakageSignalled:
    code = assembly_row(tx, mount.assembly_id).code
    known = breakage_of(tx, mount.id)
    if known is not None and known.at <= told.at:
        return BreakageSignalled(
            None,
            code,
            station.mark,
            mount.id,
            known.at,
            known.signal,
            sentence(
                "The edge of {code} is on record as broken since {at}.",
                code=code,
                at=print_instant(known.at),
            ),
        )
    undone = taken_back_breakage(tx, mount.id, told.at, signal)
    if undone is not None:
        return BreakageSignalled(
            None,
            code,
            station.mark,
            mount.id,
            told.at,
            signal,
            sentence(
                "This signal was taken back before (fact {undone}): the edge of {code} "
                "counts as whole. If it did break, report it with the time when it was "
                "seen.",
                undone=undone,
                code=code,
            ),
        )
    fact_id = record(tx, "breakage", told)
    insert_breakage(tx, fact_id, mount.id, signal)
    return BreakageSignalled(
        fact_id,
        code,
        station.mark,
        mount.id,
        told.at,
        signal,
        sentence(
            "The edge of {code} in {mark} counts as broken from {at}: stop the machine "
            "by its own rules, take the tool out, and look at the parts made since.",
            code=code,
            mark=station.mark,
            at=print_instant(told.at),
        ),
    )


def _station(tx: Tx, command: SignalBreakage) -> StationRow:
    if command.station is not None:
        return station_row(tx, resolve_station(tx, command.station).id)
    if command.machine is None or command.tool_number is None:
        raise Invalid(
            sentence("Say which edge broke: the station, or the machine and the tool number."),
            errors=[
                {"field": "station", "detail": sentence("this, or machine and tool_number")}
            ],
        )
    stations = stations_of(tx, machine_id_by_name(tx, command.machine))
    found = stations_by_number(stations, command.tool_number, command.path)
    if not found and len({one.path for one in stations}) == 1:
        # a machine with a single path may call it anything
        found = stations_by_number(stations, command.tool_number, None)
    if not found:
        raise NotKnown(
            (
                sentence(
                    "Machine {machine} has no station for tool number {tool_number} in path "
                    "{path}.",
                    machine=command.machine,
                    tool_number=command.tool_number,
                    path=command.path,
                )
                if command.path
                else sentence(
                    "Machine {machine} has no station for tool number {tool_number}.",
                    machine=command.machine,
                    tool_number=command.tool_number,
                )
            ),
            errors=[
                {"field": "tool_number", "detail": sentence("is in no station of the machine")}
            ],
        )
    if len(found) > 1:
        marks = ", ".join(one.mark for one in found)
        raise Conflict(
            sentence(
                "Tool number {tool_number} of machine {machine} may be {marks}: name "
                "the path or the station.",
                tool_number=command.tool_number,
                machine=command.machine,
                marks=marks,
            ),
            facts={"stations": [one.mark for one in found]},
            errors=[{"field": "path", "detail": sentence("is needed here")}],
        )
    return found[0]


def stations_by_number(
    stations: tuple[StationRow, ...], tool_number: int, path: int | None
) -> list[StationRow]:
    """Stations that a tool number means, in a path where one is named."""
    return [
        one
        for one in stations
        if one.tool_number == tool_number and (path is None or one.path == path)
    ]
