"""Notices of an import that is accepted: tools that no station can hold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from crib.floor.mount import takes_it
from crib.store.engine import Tx
from crib.store.import_rows import (
    Place,
    PlannedTool,
    machines_of_parts,
    places,
    planned_tools,
)

#: Files whose rows can take a tool its station.
FILES = frozenset(
    {"machines.csv", "stations.csv", "holder_types.csv", "tool_specs.csv", "parts.csv",
     "operations.csv", "runs.csv"}
)  # fmt: skip

#: Most notices that are named; the rest is counted.
MOST_TOLD = 50

#: Names in one sentence.
_MOST_NAMES = 3


def import_notices(tx: Tx) -> list[str]:
    """Tool numbers that no machine has, and specs that fit no station that they are used in."""
    told = [*_numbers_nowhere(tx), *_specs_that_fit_nowhere(tx)]
    if len(told) > MOST_TOLD:
        told[MOST_TOLD:] = [f"and {len(told) - MOST_TOLD} more of these"]
    return told


def _where(tx: Tx) -> Iterator[tuple[PlannedTool, str | None, list[Place]]]:
    """Each tool with the machine that is to use it and the stations there of its number.

    The machine is None for a part without a run: any may be meant.
    """
    stations: dict[tuple[int, int], list[Place]] = defaultdict(list)
    for place in places(tx):
        stations[place.tool_number, place.path].append(place)
    machines = machines_of_parts(tx)
    for tool in planned_tools(tx):
        found = stations.get((tool.tool_number, tool.path), [])
        for machine in sorted(machines.get(tool.part, ())) or (None,):
            yield tool, machine, [one for one in found if machine in (None, one.machine)]


def _numbers_nowhere(tx: Tx) -> Iterator[str]:
    parts: dict[tuple[int, int, str | None], list[str]] = defaultdict(list)
    for tool, machine, found in _where(tx):
        if not found:
            parts[tool.tool_number, tool.path, machine].append(tool.part)
    for (number, path, machine), names in parts.items():
        where = f"machine {machine} has" if machine else "no machine has"
        no = "no" if machine else "a"
        yield (
            f"operations.csv: {where} {no} station with tool number {number} on path {path}, "
            f"which {_listed(names)} needs. Add it to stations.csv, or correct the number."
        )


def _specs_that_fit_nowhere(tx: Tx) -> Iterator[str]:
    told = set()
    for tool, _, found in _where(tx):
        if not found or any(_fits(tool, place) for place in found):
            continue
        key = tool.tool_spec, found[0]
        if key not in told:
            told.add(key)
            place = found[0]
            yield (
                f"tool_specs.csv: {tool.tool_spec} does not fit where {tool.part} uses it: "
                f"station {place.machine}/{place.station} takes "
                f"{_words(place.interface, place.kind)}, holder type {tool.holder_type} is "
                f"{_words(tool.interface, tool.kind)}. Correct one of them."
            )


def _fits(tool: PlannedTool, place: Place) -> bool:
    return takes_it(place.interface, tool.interface) and takes_it(place.kind, tool.kind)


def _words(interface: str | None, kind: str | None) -> str:
    return " ".join(word for word in (interface, kind) if word)


def _listed(names: list[str]) -> str:
    first = list(dict.fromkeys(names))
    more = f" and {len(first) - _MOST_NAMES} more" if len(first) > _MOST_NAMES else ""
    return "part " + ", ".join(first[:_MOST_NAMES]) + more
