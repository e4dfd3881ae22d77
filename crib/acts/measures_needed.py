"""Which measures the stations need that a tool is for, and what is missing of them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from crib.acts.named import named_assembly
from crib.floor.mount import takes_it
from crib.sentence import sentence, together
from crib.store.engine import Tx
from crib.store.spec_stations import SpecStation, stations_for_spec
from crib.store.stockrows import HolderRow, holder_row

#: Most stations that a sentence names.
_NAMED = 3


@dataclass(frozen=True, slots=True)
class MeasuresNeeded:
    """What the stations of a tool need.

    Attributes:
        stations: Those that it is for: of the jobs ahead; else of any program; else all that
            take its holder.
    """

    stations: tuple[SpecStation, ...]

    def names(self) -> tuple[str, ...]:
        """Every measure that one of them needs."""
        needed: set[str] = set()
        for station in self.stations:
            needed |= station.measures
        return tuple(name for name in ("LF", "WF", "HF") if name in needed)

    def why_not(self, measured: Collection[str]) -> tuple[str, ...]:
        """Why a preset with these measures is of no use; empty where one station takes it."""
        lacking = self._lacking(measured)
        if not lacking or len(lacking) < len(self.stations):
            return ()
        return tuple(
            sentence(
                "{name} was not measured, and {places} for its offsets: measure {name} "
                "as well.",
                name=name,
                places=_places(where),
            )
            for name, where in _by_measure(lacking, measured)
        )

    def cautions(self, measured: Collection[str]) -> tuple[str, ...]:
        """Where a preset with these measures cannot go, if it can go elsewhere."""
        lacking = self._lacking(measured)
        if not lacking or len(lacking) == len(self.stations):
            return ()
        return tuple(
            sentence(
                "{name} was not measured, and {places} for its offsets: measure {name} "
                "as well if it may go there.",
                name=name,
                places=_places(where),
            )
            for name, where in _by_measure(lacking, measured)
        )

    def _lacking(self, measured: Collection[str]) -> list[SpecStation]:
        return [one for one in self.stations if one.measures - set(measured)]


def measures_needed(tx: Tx, tool_spec_id: int, holder: HolderRow) -> MeasuresNeeded:
    """What the stations need that a tool of a spec on a holder is for."""
    rows = stations_for_spec(tx, tool_spec_id)
    planned = tuple(one for one in rows if one.planned)
    if planned:
        return MeasuresNeeded(planned)
    fitting = tuple(one for one in rows if _takes(one, holder))
    programmed = tuple(one for one in fitting if one.programmed)
    return MeasuresNeeded(programmed or fitting)


def measures_of_tool(tx: Tx, text: str) -> MeasuresNeeded:
    """The same for the tool that a label, or its holder, names.

    Raises:
        BadCode: A code that is mistyped.
        NotKnown: Nothing here carries it.
    """
    tool = named_assembly(tx, text).row
    return measures_needed(tx, tool.tool_spec_id, holder_row(tx, tool.holder_id))


def _takes(station: SpecStation, holder: HolderRow) -> bool:
    return takes_it(station.interface, holder.interface) and takes_it(station.kind, holder.kind)


def _by_measure(
    lacking: Sequence[SpecStation], measured: Collection[str]
) -> list[tuple[str, list[str]]]:
    found = [
        (name, [one.mark for one in lacking if name in one.measures])
        for name in ("LF", "WF", "HF")
        if name not in measured
    ]
    return [(name, where) for name, where in found if where]


def _places(marks: Sequence[str]) -> str:
    """Stations as a clause."""
    if len(marks) == 1:
        return sentence("station {marks} needs it", marks=marks[0])
    if len(marks) <= _NAMED:
        return sentence("stations {marks} need it", marks=together(", ", marks))
    return sentence(
        "stations {marks} and {marks2} more need it",
        marks=together(", ", marks[:_NAMED]),
        marks2=len(marks) - _NAMED,
    )
