"""What the toolroom has at an instant, and what swaps will want of it: flat rows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Literal

SisterState = Literal["ready", "measure", "build", "blocked", "not_needed"]
MissingKind = Literal["holder", "edge", "bench_time"]


@dataclass(frozen=True, slots=True)
class SwapNeed:
    """One swap ahead, for which a sister must be ready by an instant.

    Args:
        station_id: Which station; the swaps of one station follow each other.
        machine: Its machine, for the reader.
        station: Its name on that machine, for the reader.
        tool_number: What the program calls there.
        path: The path that the tool number belongs to.
        tool_spec: What has to come in.
        assembly: Code of what sits there now, at ordinal 0; None in an empty station.
        ordinal: 0 for the first swap from now, 1 for the next one of the same station, …
        swap_by: The sister has to be there by then.
        releases_holder: Holder that sits there now, at the station's first swap; later swaps
            release whatever holder the swap before brought in, so there it is not read.
        releases_type: Its holder type, where it differs from what the tool spec wants.
        why: Why the swap is due.
        measures: LF, WF, HF as far as the station's offsets need them.
        ready_by: The sister has to be there by then, where that is before ``swap_by``.
        freed_by: When the holder that sits there comes out, where that is not ``swap_by``.
        removal: Whether nothing goes in for what comes out.
        due_since: Since when the swap has been due, where that lies behind.
    """

    station_id: int
    machine: str
    station: str
    tool_number: int
    path: int
    tool_spec: str
    assembly: str | None
    ordinal: int
    swap_by: datetime
    releases_holder: str | None = None
    releases_type: str | None = None
    why: str = ""
    measures: frozenset[str] = frozenset()
    ready_by: datetime | None = None
    freed_by: datetime | None = None
    removal: bool = False
    due_since: datetime | None = None

    @property
    def due_at(self) -> datetime:
        """When the sister has to be there."""
        return self.swap_by if self.ready_by is None else min(self.ready_by, self.swap_by)

    @property
    def fills(self) -> bool:
        """Whether nothing comes out: the station is empty, and its machine waits."""
        return self.ordinal == 0 and self.assembly is None


@dataclass(frozen=True, slots=True)
class WaitingAssembly:
    """An assembly that is built and in no machine; ``void_after`` ends its preset.

    ``measures`` are LF, WF, HF as far as the preset has them; None where not known.
    """

    code: str
    tool_spec: str
    holder: str
    holder_type: str
    void_after: datetime | None = None
    measured_at: datetime | None = None
    measures: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class FreeHolder:
    """A holder in service that is built into nothing; ``free_from`` if only later [UTC]."""

    holder: str
    holder_type: str
    location: str = ""
    free_from: datetime | None = None


@dataclass(frozen=True, slots=True)
class LotEdges:
    """Usable edges left in one lot."""

    lot: str
    cutting_item: str
    edges_left: int
    location: str = ""


@dataclass(frozen=True, slots=True)
class BenchMinutes:
    """Bench time where a tool spec gives none [min]; common practice, no source."""

    build: float = 15.0
    measure: float = 6.0


@dataclass(frozen=True, slots=True)
class SpecNeeds:
    """What building to one tool spec takes.

    Args:
        holder_type: The only holder type that fits.
        cutting_items: Allowed items, the preferred one first.
        items_per_tool: Edges per assembly; all of them come from one lot.
        preset_minutes: Bench time from bare holder to accepted preset [min].
        torque_nm: Tightening torque [N m].
    """

    holder_type: str
    cutting_items: tuple[str, ...]
    items_per_tool: int = 1
    preset_minutes: float | None = None
    torque_nm: float | None = None

    def build_minutes(self, usual: BenchMinutes) -> float:
        """Bench time to build and measure [min]."""
        return usual.build if self.preset_minutes is None else self.preset_minutes

    def measure_minutes(self, usual: BenchMinutes) -> float:
        """Bench time to measure what is built already; never more than building it [min]."""
        return min(usual.measure, self.build_minutes(usual))


@dataclass(frozen=True, slots=True)
class Shelf:
    """What is ready, waits or is free at one instant.

    Args:
        ready: Waiting assemblies with a preset.
        unmeasured: Waiting assemblies without a valid preset.
        holders: Free holders.
        lots: Edges in stock; of one item the lot to use up first comes first.
        specs: Needs of every tool spec that is asked for.
        bench_minutes: For specs that give no bench time.
    """

    ready: tuple[WaitingAssembly, ...] = ()
    unmeasured: tuple[WaitingAssembly, ...] = ()
    holders: tuple[FreeHolder, ...] = ()
    lots: tuple[LotEdges, ...] = ()
    specs: Mapping[str, SpecNeeds] = field(default_factory=dict)
    bench_minutes: BenchMinutes = field(default_factory=BenchMinutes)

    def less(self, given: Iterable[tuple[str, Sister]]) -> Shelf:
        """What is left once these sisters, each with its tool spec, are spoken for."""
        assemblies: set[str] = set()
        holders: set[str] = set()
        edges: Counter[str] = Counter()
        for tool_spec, sister in given:
            if sister.assembly is not None:
                assemblies.add(sister.assembly)
            elif sister.holder is not None:
                holders.add(sister.holder)
            if sister.lot is not None:
                edges[sister.lot] += self.specs[tool_spec].items_per_tool
        return replace(
            self,
            ready=tuple(one for one in self.ready if one.code not in assemblies),
            unmeasured=tuple(one for one in self.unmeasured if one.code not in assemblies),
            holders=tuple(one for one in self.holders if one.holder not in holders),
            lots=tuple(
                replace(one, edges_left=one.edges_left - edges[one.lot]) for one in self.lots
            ),
        )

    def stock(self) -> dict[str, int]:
        """Usable edges left of each cutting item."""
        left: dict[str, int] = {}
        for lot in self.lots:
            left[lot.cutting_item] = left.get(lot.cutting_item, 0) + lot.edges_left
        return left


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing that is not there.

    Args:
        what: holder, edge or bench_time.
        names: Holder type, or the cutting items of which any one would do.
        wanted: How many of it this swap wants; minutes for bench_time.
        sentence: The same for a reader.
    """

    what: MissingKind
    names: tuple[str, ...]
    wanted: int
    sentence: str


@dataclass(frozen=True, slots=True)
class Sister:
    """What stands behind one swap.

    Args:
        state: ready; measure (built, to be measured); build (all of it is at hand in time);
            blocked (see ``missing``); not_needed (what sits there comes out, nothing goes in).
        assembly: The waiting assembly, where ready or measure.
        holder: Its holder, or the holder to build into.
        lot: Where to take the edges, where build (or blocked by a holder alone: the edges
            are set aside all the same).
        cutting_item: What the lot holds.
        minutes: Bench time that is still to be spent [min].
        missing: Each thing missing; empty unless blocked or short of bench time.
        holder_from: When a holder comes free that is not yet; None when it is there.
        available_from: Soonest end of its bench work, where a holder is waited for. Blocked
            by a holder alone: when the same holder could be back in the machine, which
            stands meanwhile.
        lacking: Measures that the station needs and its preset does not have; then it is to
            be measured again.
    """

    state: SisterState
    assembly: str | None = None
    holder: str | None = None
    lot: str | None = None
    cutting_item: str | None = None
    minutes: float = 0.0
    missing: tuple[Missing, ...] = ()
    holder_from: datetime | None = None
    available_from: datetime | None = None
    lacking: tuple[str, ...] = ()
