"""What a changeover takes: which tools stay, come from the rack, are built, go back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime

from crib.errors import Invalid
from crib.planning.shelf import FreeHolder, Missing, Shelf, Sister, SwapNeed
from crib.planning.sisters import find_sisters
from crib.sentence import AND, sentence, together

#: Machine time of one swap where the tool spec gives none [min]; common practice, no source.
USUAL_SWAP_MIN = 5.0


@dataclass(frozen=True, slots=True)
class StationNow:
    """A station and what sits in it before the changeover.

    Args:
        station_id: Which station.
        station: Its name on the machine.
        tool_number: What programs call there.
        path: The path that the number belongs to.
        assembly: Code of what sits there; None when empty.
        tool_spec: What it was built to.
        holder: Its holder.
        holder_type: That holder's type.
        usable: Whether its edge has life enough to go on.
        measures: LF, WF, HF as far as the station's offsets need them.
    """

    station_id: int
    station: str
    tool_number: int
    path: int = 1
    assembly: str | None = None
    tool_spec: str | None = None
    holder: str | None = None
    holder_type: str | None = None
    usable: bool = True
    measures: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class WantedTool:
    """What one operation of the next part expects at a tool number."""

    tool_number: int
    path: int
    tool_spec: str


@dataclass(frozen=True, slots=True)
class KitLine:
    """One tool of a kit.

    Args:
        station: Where it sits or goes; None where no station carries the tool number.
        tool_number: What the program calls there.
        path: The path that the number belongs to.
        tool_spec: What it is or has to be built to.
        assembly: Its code, once it is built.
        holder: Its holder.
        sister: Where it comes from; None for what sits in the machine already.
        bench_minutes: Bench time still to spend [min].
        stands: Whether the machine stands for that bench time, since the holder only comes
            out of it at this changeover.
        missing: What is not there.
        note: What to mind.
    """

    station: str | None
    tool_number: int
    path: int
    tool_spec: str
    assembly: str | None = None
    holder: str | None = None
    sister: Sister | None = None
    bench_minutes: float = 0.0
    stands: bool = False
    missing: tuple[Missing, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Kit:
    """A changeover, tool by tool.

    Args:
        keep: In the machine and right: they stay.
        pull: Ready in the rack.
        build: To be built or measured first.
        blocked: Cannot be had; each line says what is missing.
        returned: Come out.
        idle: Not called by the next part; they may stay.
        bench_minutes: Bench time before the changeover [min].
        machine_minutes: The machine stands: swaps, and builds that wait for its holders [min].
    """

    keep: tuple[KitLine, ...]
    pull: tuple[KitLine, ...]
    build: tuple[KitLine, ...]
    blocked: tuple[KitLine, ...]
    returned: tuple[KitLine, ...]
    idle: tuple[KitLine, ...]
    bench_minutes: float
    machine_minutes: float


def make_kit(
    at: datetime,
    machine: str,
    stations: Sequence[StationNow],
    wanted: Sequence[WantedTool],
    shelf: Shelf,
    swap_minutes: Mapping[str, float] | None = None,
    own: Mapping[tuple[str, str], Sister] | None = None,
    spoken_for: Set[str] = frozenset(),
) -> Kit:
    """Compare what sits in a machine with what the next part wants.

    Free holders go first; a holder that this changeover takes out of the machine serves only
    where none is free, and then the machine waits for the bench.

    Args:
        at: When the changeover begins; presets have to hold until then.
        machine: The machine, for the reader.
        stations: Every station of the machine.
        wanted: The tools of the next part; operations of one tool may repeat it.
        shelf: What the toolroom has to give, with the needs of every spec in ``wanted``.
        swap_minutes: Machine time of a swap per tool spec [min].
        own: Sisters that are meant for a station already, by its name and tool spec; they
            are no longer on the shelf.
        spoken_for: Holders in machines that are given to others once they come out.

    Raises:
        Invalid: Two operations want different specs at one tool number.
        NotKnown: A spec that the shelf does not describe.
    """
    specs = _one_spec_each(wanted)
    keep, changes, nowhere, called = _compare(stations, specs)
    out = [place for place, _ in changes if place.assembly is not None]
    meant = own or {}
    asking = [one for one in changes if (one[0].station, one[1]) not in meant]
    needs = [
        SwapNeed(
            place.station_id, machine, place.station, place.tool_number, place.path, spec,
            place.assembly, 0, at, measures=place.measures,
        )
        for place, spec in asking
    ]  # fmt: skip
    comes_out = tuple(
        FreeHolder(place.holder, place.holder_type, place.station, free_from=at)
        for place in out
        if place.holder and place.holder_type and place.holder not in spoken_for
    )
    here = replace(shelf, holders=shelf.holders + comes_out)
    found = iter(find_sisters(needs, here, finish=lambda free_at, _: free_at))
    marks = {place.holder for place in out if place.holder}
    lines = [
        _line(place, spec, meant.get((place.station, spec)) or next(found), marks)
        for place, spec in changes
    ]
    swaps = swap_minutes or {}
    return Kit(
        keep=tuple(_seated(place) for place in keep),
        pull=tuple(line for line in lines if _state(line) == "ready"),
        build=tuple(line for line in lines if _state(line) in ("measure", "build")),
        blocked=(*(line for line in lines if _state(line) == "blocked"), *nowhere),
        returned=tuple(
            _seated(place, "" if place.usable else sentence("edge has too little life left"))
            for place in out
        ),
        idle=tuple(
            _seated(place, sentence("not called by the next part"))
            for place in stations
            if place.assembly is not None and place.station_id not in called
        ),
        bench_minutes=sum(line.bench_minutes for line in lines if not line.stands),
        machine_minutes=sum(
            swaps.get(line.tool_spec, USUAL_SWAP_MIN) + line.bench_minutes * line.stands
            for line in lines
        ),
    )


def _one_spec_each(wanted: Sequence[WantedTool]) -> dict[tuple[int, int], str]:
    specs: dict[tuple[int, int], str] = {}
    for tool in wanted:
        key = (tool.path, tool.tool_number)
        known = specs.setdefault(key, tool.tool_spec)
        if known != tool.tool_spec:
            raise Invalid(
                sentence(
                    "Tool number {tool_number} on path {path} is named as {known} and as "
                    "{tool_spec}: correct the part's operations.",
                    tool_number=tool.tool_number,
                    path=tool.path,
                    known=known,
                    tool_spec=tool.tool_spec,
                ),
                facts={"tool_number": tool.tool_number, "path": tool.path},
            )
    return specs


def _compare(
    stations: Sequence[StationNow], specs: Mapping[tuple[int, int], str]
) -> tuple[list[StationNow], list[tuple[StationNow, str]], list[KitLine], set[int]]:
    """Stations that stay as they are, those to change, tools without a station, all called."""
    at_number: dict[tuple[int, int], list[StationNow]] = {}
    for place in stations:
        at_number.setdefault((place.path, place.tool_number), []).append(place)
    keep: list[StationNow] = []
    changes: list[tuple[StationNow, str]] = []
    nowhere: list[KitLine] = []
    called: set[int] = set()
    for (path, number), spec in sorted(specs.items()):
        # Where several stations share a number, the one that is right already is meant.
        places = sorted(at_number.get((path, number), []), key=lambda p: not _right(p, spec))
        if not places:
            note = sentence(
                "no station carries tool number {number} on path {path}",
                number=number,
                path=path,
            )
            nowhere.append(KitLine(None, number, path, spec, note=note))
            continue
        place = places[0]
        called.add(place.station_id)
        if _right(place, spec):
            keep.append(place)
        else:
            changes.append((place, spec))
    return keep, changes, nowhere, called


def _right(place: StationNow, spec: str) -> bool:
    return place.assembly is not None and place.tool_spec == spec and place.usable


def _seated(place: StationNow, note: str = "") -> KitLine:
    return KitLine(
        place.station,
        place.tool_number,
        place.path,
        place.tool_spec or "",
        place.assembly,
        place.holder,
        note=note,
    )


def _line(place: StationNow, spec: str, sister: Sister, comes_out: Set[str]) -> KitLine:
    blocked = sister.state == "blocked"
    stands = sister.state == "build" and sister.holder in comes_out
    note = ""
    if stands:
        note = sentence("its holder comes out of the machine at this changeover")
    elif sister.state == "build" and sister.holder_from is not None:
        note = sentence("its holder has to come out of a machine first")
    if sister.lacking:
        note = sentence(
            "measure it again with {lacking}, which the station needs",
            lacking=together(AND, sister.lacking),
        )
    return KitLine(
        place.station,
        place.tool_number,
        place.path,
        spec,
        sister.assembly,
        sister.holder,
        sister,
        0.0 if blocked else sister.minutes,
        stands,
        sister.missing,
        note,
    )


def _state(line: KitLine) -> str:
    return line.sister.state if line.sister else ""
