"""The greatest speeds that a calculation stays below: of machine, station, holder and tool."""

from __future__ import annotations

from typing import Final

from api.pages.numbers.shown import Entry
from crib.sentence import sentence

SPEED_LIMITS: Final = (
    Entry(
        "spindle_max_rpm",
        sentence("Greatest speed of the machine"),
        "8000",
        "1/min",
        "N_max",
    ),
    Entry("station_max_rpm", sentence("Greatest speed of the station"), "", "1/min"),
    Entry("holder_max_rpm", sentence("Greatest speed of the holder"), "", "1/min"),
    Entry("tool_max_rpm", sentence("Greatest speed of the tool"), "", "1/min"),
)

LIMIT_NAMES: Final = tuple(entry.name for entry in SPEED_LIMITS)
