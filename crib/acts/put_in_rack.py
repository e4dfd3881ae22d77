"""Putting a tool in the rack of a machine, where it waits until it is mounted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.named import named_assembly
from crib.acts.who_and_when import record, refuse_before, who_and_when
from crib.clock import print_instant
from crib.errors import AlreadyMounted, Conflict, Invalid
from crib.sentence import sentence
from crib.store.assemblies import AssemblyRow, last_fact_at
from crib.store.engine import Tx
from crib.store.rack_rows import insert_place, place_of, sharing_places
from crib.store.resolve import machine_id_by_name

#: Longest name of a place.
LONGEST_PLACE = 60


@dataclass(frozen=True, slots=True)
class PutInRack:
    """Put a tool in a rack.

    Attributes:
        assembly: Code of its label, or its holder.
        machine: Name of the machine whose rack it is; this or the place, or both.
        place: Place in the rack, as the shop calls it.
    """

    assembly: str
    machine: str | None = None
    place: str | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class RackPlace:
    """Where a tool stands from now on.

    Attributes:
        fact_id: The fact.
        code: The tool's code.
        machine: The machine whose rack it is.
        place: Place in it.
        was_machine: The rack that it stood in before.
        was_place: Its place before.
        at: When.
        also_there: Codes of other tools recorded at that place: perhaps they are gone.
    """

    fact_id: int
    code: str
    machine: str | None
    place: str | None
    was_machine: str | None
    was_place: str | None
    at: datetime
    also_there: tuple[str, ...] = ()


def put_in_rack(tx: Tx, present: datetime, command: PutInRack) -> RackPlace:
    """Record where a tool waits; it stays there until it is mounted or taken apart.

    Where another tool is recorded at the same place, the answer names it: nobody can see from
    here which of the two is gone.

    Raises:
        AlreadyMounted: It sits in a station.
        Conflict: It is over, or has a later fact.
        Invalid: Neither a machine nor a place, or a place that is no name.
        NotKnown: A code or machine that nothing carries.
    """
    told = who_and_when(tx, present, command)
    assembly = named_assembly(tx, command.assembly).row
    _refuse(assembly)
    place = (command.place or "").strip() or None
    if command.machine is None and place is None:
        raise Invalid(
            sentence("Say whose rack it is, or the place in it."),
            errors=[{"field": "machine", "detail": sentence("is missing, and so is place")}],
        )
    if place is not None and len(place) > LONGEST_PLACE:
        raise Invalid(
            sentence(
                "The place is {place} characters long: at most {longest_place} are allowed.",
                place=len(place),
                longest_place=LONGEST_PLACE,
            ),
            errors=[
                {
                    "field": "place",
                    "detail": sentence(
                        "at most {longest_place} characters", longest_place=LONGEST_PLACE
                    ),
                }
            ],
        )
    machine_id = None
    if command.machine is not None:
        machine_id = machine_id_by_name(tx, command.machine)
    told = refuse_before(
        told,
        last_fact_at(tx, assembly.id),
        sentence("the last fact about {code} lies", code=assembly.code),
    )
    before = place_of(tx, assembly.id)
    fact_id = record(tx, "rack_place", told)
    insert_place(tx, fact_id, assembly_id=assembly.id, machine_id=machine_id, place=place)
    now = place_of(tx, assembly.id)
    return RackPlace(
        fact_id=fact_id,
        code=assembly.code,
        machine=now.machine if now else None,
        place=place,
        was_machine=before.machine if before else None,
        was_place=before.place if before else None,
        at=told.at,
        also_there=sharing_places(tx).get(assembly.code, ()),
    )


def _refuse(assembly: AssemblyRow) -> None:
    if assembly.station is not None:
        raise AlreadyMounted(
            sentence(
                "{code} sits in station {station}: record its removal first.",
                code=assembly.code,
                station=assembly.station,
            ),
            facts={"assembly": assembly.code, "station": assembly.station},
        )
    if assembly.ended_at is not None:
        raise Conflict(
            sentence(
                "{code} has ended ({cutter_status} since {ended_at}): it does not "
                "belong in a rack.",
                code=assembly.code,
                cutter_status=assembly.cutter_status,
                ended_at=print_instant(assembly.ended_at),
            ),
            facts={"assembly": assembly.code, "cutter_status": assembly.cutter_status},
        )
