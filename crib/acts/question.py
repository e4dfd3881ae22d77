"""A question to a person about a machine: the shape that all questions share."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

OTHER_TOOL, NOT_SCANNED, BREAKAGE = "other_tool", "not_scanned", "breakage"


@dataclass(frozen=True, slots=True)
class Question:
    """What a machine says and the records do not.

    Attributes:
        kind: other_tool (the machine names a tool of ours that is not on record there),
            not_scanned (the machine saw a tool change that nobody scanned) or breakage (the
            machine reported a breakage, and it is not known of which tool).
        machine: Name of the machine.
        station: MACHINE/STATION; None where nobody knows which.
        station_code: The station's code; None as above.
        path: Path of the control, as the machine calls it.
        tool_number: The number under which the machine calls the tool; None where it has none.
        says: What the machine calls the tool (its asset id), or the breakage.
        on_record: Code of the tool on record in that station; None where it is empty.
        mount_id: The stay of that tool.
        since: Since when the machine says so.
        sentence: The question, for a person.
        number: Number of a breakage, by which it is answered; None of other kinds.
    """

    kind: str
    machine: str
    station: str | None
    station_code: str | None
    path: str
    tool_number: int | None
    says: str
    on_record: str | None
    mount_id: int | None
    since: datetime
    sentence: str
    number: int | None = None
