"""Breakages of nobody knows which tool: asked about until a person answers."""

from __future__ import annotations

from typing import Final

from crib.acts.question import BREAKAGE, Question
from crib.clock import print_instant
from crib.errors import Conflict
from crib.sentence import sentence, together
from crib.store.doubt_rows import OpenDoubt, open_doubts
from crib.store.engine import Tx

_UNREAD: Final = sentence("When it broke cannot be read; this is when it came.")


def unclear_breakages(tx: Tx, machine_id: int | None = None) -> list[Question]:
    """Every breakage that waits for an answer, the oldest first.

    Args:
        tx: An open transaction.
        machine_id: Only those of this machine.
    """
    return [_asked(one) for one in open_doubts(tx, machine_id)]


def open_breakage(tx: Tx, number: int) -> OpenDoubt:
    """The breakage of a number, that waits for an answer.

    Raises:
        Conflict: None of that number waits.
    """
    for one in open_doubts(tx):
        if one.id == number:
            return one
    raise Conflict(
        sentence(
            "Breakage {number} does not wait for an answer: it was answered already.",
            number=number,
        ),
        facts={"question": number},
    )


def _asked(one: OpenDoubt) -> Question:
    told = one.told
    asked = sentence(
        "Machine {machine} says that a tool broke at {at}: '{signal}'. {why} Look "
        "at the machine, then say which tool broke, or that none did.",
        machine=one.machine,
        at=print_instant(told.at),
        signal=told.signal,
        why=told.why,
    )
    return Question(
        kind=BREAKAGE,
        machine=one.machine,
        station=None,
        station_code=None,
        path=told.path,
        tool_number=told.tool_number,
        says=told.signal,
        on_record=None,
        mount_id=None,
        since=told.at,
        sentence=asked if one.at_is_told else together(" ", (asked, _UNREAD)),
        number=one.id,
    )
