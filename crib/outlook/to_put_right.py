"""What a person has to put right so that the lists show everything: no fault of ours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

#: A part needs a tool number that no station of its machine has.
NO_STATION: Final = "no_station"
#: A path's own counter tells nothing while that of another path goes on.
SILENT_PATH: Final = "silent_path"

#: An edge has come many times as far as usual: the count is wrong, or it was swapped.
DOUBTED_AGE: Final = "doubted_age"


@dataclass(frozen=True, slots=True)
class ToPutRight:
    """One thing to put right.

    Attributes:
        what: ``NO_STATION``, ``SILENT_PATH`` or ``DOUBTED_AGE``.
        machine: Where.
        sentence: What is wrong, what follows from it, and what to do.
        station: Name of the station that it is about; None where it is about none.
        station_code: Its code.
    """

    what: str
    machine: str
    sentence: str
    station: str | None = None
    station_code: str | None = None
