"""Constraints of the database, and the refusal that each stands for when it is broken."""

from __future__ import annotations

from sqlalchemy.exc import IntegrityError

from crib.errors import (
    AlreadyMounted,
    Conflict,
    EdgeUsed,
    HolderInUse,
    InUse,
    Invalid,
    NoneLeft,
    Refusal,
    StationOccupied,
)
from crib.sentence import sentence

# Constraint (or SQLite's own words for it) -> what the person at the machine reads.
_CONSTRAINTS: tuple[tuple[str, type[Refusal], str], ...] = (
    (
        "station_state.station_id",
        StationOccupied,
        sentence("Another tool was just mounted there."),
    ),
    (
        "station_state.assembly_id",
        AlreadyMounted,
        sentence("This tool sits in a station already."),
    ),
    ("assembly_state.holder_id", HolderInUse, sentence("The holder is built already.")),
    ("edge_uses.piece_id", EdgeUsed, sentence("That edge was used before.")),
    ("on_hand_not_negative", NoneLeft, sentence("The lot holds fewer than that.")),
    ("balance_not_negative", NoneLeft, sentence("The lot holds fewer than that.")),
    (
        "part count goes backwards",
        Conflict,
        sentence("The part count would go backwards."),
    ),
    (
        "append only",
        Conflict,
        sentence("Recorded facts are never changed. Take this one back instead."),
    ),
    (
        "implausible number",
        Invalid,
        sentence("A number lies outside its bounds; nothing was recorded."),
    ),
    (
        "uq_runs_running",
        Conflict,
        sentence("Another run is running on that machine; end it first."),
    ),
    (
        "runs.machine_id",
        Conflict,
        sentence("Another run is running on that machine; end it first."),
    ),
    ("facts.reverses_id", Conflict, sentence("That was taken back already.")),
    ("FOREIGN KEY", InUse, sentence("Something else still names this record.")),
    ("_key", Conflict, sentence("There is one of that name already.")),
    ("UNIQUE", Conflict, sentence("There is one of that name already.")),
)


def refusal_from(problem: IntegrityError) -> Refusal:
    """The refusal that a broken constraint stands for; the original error if none is known."""
    words = str(problem.orig)
    for mark, kind, told in _CONSTRAINTS:
        if mark in words:
            return kind(told, facts={"constraint": words})
    raise problem
