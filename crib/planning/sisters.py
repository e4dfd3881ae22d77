"""Which sister stands behind each swap: ready, to measure, to build, or blocked by what.

One walk through the swaps in order of time. Nothing is given twice; a holder that comes out
of a machine goes back to the bench and may serve a later swap.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from heapq import heapify, heappop, heappush
from typing import Any, NamedTuple

from crib.errors import NotKnown
from crib.planning.shelf import (
    LotEdges,
    Missing,
    Shelf,
    Sister,
    SpecNeeds,
    SwapNeed,
)
from crib.sentence import OR, sentence, together

#: ``(instant, bench minutes) -> instant`` at which that much bench work is done.
Finish = Callable[[datetime, float], datetime]

_NEVER = datetime.max.replace(tzinfo=UTC)
_NOW = datetime.min.replace(tzinfo=UTC)


def plus_minutes(at: datetime, minutes: float) -> datetime:
    """The end of bench work where the bench never closes."""
    return at + timedelta(minutes=minutes)


class SpokenFor(NamedTuple):
    """What something else than a swap takes from the shelf.

    Attributes:
        turn: Swaps of this turn and of later ones have to leave it.
        tool_spec: Spec of the tool.
        sister: What it is, or is built from.
    """

    turn: int
    tool_spec: str
    sister: Sister


def find_sisters(
    needs: Sequence[SwapNeed],
    shelf: Shelf,
    *,
    finish: Finish = plus_minutes,
    spoken_for: Iterable[SpokenFor] = (),
    turns: Sequence[int] = (),
) -> list[Sister]:
    """Give every swap its sister, the most urgent first.

    Of measured assemblies the one whose preset is void soonest, but not before the swap, goes
    first: no other choice serves more swaps, since later swaps can only use later presets.
    One whose preset lacks a measure that the station needs cannot be a sister there. Then come
    assemblies that only need measuring (those that lack such a measure last), then a holder
    with edges in stock. A holder that is in a machine now counts once its swap is made, and
    only where the bench can finish before the new swap. Where no holder is there in time the
    station keeps its own: it can be rebuilt only while the machine stands, so the sister is
    blocked.

    Args:
        needs: Swaps in any order; those of one station are numbered by ``ordinal``.
        shelf: What there is.
        finish: When bench work that starts at an instant ends.
        spoken_for: What later swaps have to leave.
        turns: In which turn each need is served, before its instant counts; none: all in one.

    Returns:
        One sister per need, in the order of ``needs``.

    Raises:
        NotKnown: A need names a tool spec that the shelf does not describe.
    """
    given: list[Sister | None] = [None] * len(needs)
    order = sorted(
        range(len(needs)),
        key=lambda i: (
            turns[i] if turns else 0,
            needs[i].swap_by,
            not needs[i].fills,
            needs[i].ordinal,
            needs[i].station_id,
        ),
    )
    walk = _Walk(shelf, finish)
    kept = deque(sorted(spoken_for, key=lambda one: one.turn))
    for i in order:
        while kept and turns and kept[0].turn <= turns[i]:
            walk.keep_for_others(kept.popleft())
        given[i] = walk.serve(needs[i])
    return [sister for sister in given if sister is not None]


class _Walk:
    """What is still to give while the swaps are walked in order of time."""

    def __init__(self, shelf: Shelf, finish: Finish) -> None:
        self.specs = shelf.specs
        self.usual = shelf.bench_minutes
        self.finish = finish
        self.ready: dict[str, list[tuple[datetime, str, str]]] = defaultdict(list)
        self.unmeasured: dict[str, list[tuple[str, str]]] = defaultdict(list)
        self.holders: dict[str, list[tuple[datetime, str]]] = defaultdict(list)
        for waiting in shelf.ready:
            entry = (waiting.void_after or _NEVER, waiting.code, waiting.holder)
            heappush(self.ready[waiting.tool_spec], entry)
        for waiting in shelf.unmeasured:
            heappush(self.unmeasured[waiting.tool_spec], (waiting.code, waiting.holder))
        for free in shelf.holders:
            heappush(self.holders[free.holder_type], (free.free_from or _NOW, free.holder))
        self.measures = {one.code: one.measures for one in shelf.ready}
        self.stock = _Stock(shelf.lots)
        self.seated: dict[int, tuple[str, str] | None] = {}
        self.edgeless: dict[tuple[str, bool, bool], Sister] = {}

    def serve(self, need: SwapNeed) -> Sister:
        """The sister of the next swap in order of time."""
        spec = self.specs.get(need.tool_spec)
        if spec is None:
            raise NotKnown(
                sentence(
                    "Nothing is known of tool spec {tool_spec}, which station "
                    "{machine}/{station} needs.",
                    tool_spec=need.tool_spec,
                    machine=need.machine,
                    station=need.station,
                ),
                facts={"tool_spec": need.tool_spec},
            )
        own = self._seated(need, spec)
        if need.removal:
            if own is not None:
                heappush(self.holders[own[1]], (need.swap_by, own[0]))
            self.seated[need.station_id] = None
            return Sister("not_needed")
        sister = (
            self._take_ready(need)
            or self._take_unmeasured(need, spec)
            or self._take_lacking(need, spec)
            or self._build(need, spec, own)
        )
        if sister.state == "blocked" and sister.lot is not None:
            return sister  # the holder stays where it is and is rebuilt there
        if own is not None:
            heappush(self.holders[own[1]], (need.freed_by or need.swap_by, own[0]))
        taken = sister.holder
        self.seated[need.station_id] = (taken, spec.holder_type) if taken else None
        return sister

    def keep_for_others(self, other: SpokenFor) -> None:
        """Take what is spoken for off the shelf, where no swap before took it."""
        sister, spec = other.sister, self.specs[other.tool_spec]
        if sister.assembly is not None:
            for waiting in (self.ready, self.unmeasured):
                _without(waiting[other.tool_spec], sister.assembly, -2)
            return
        if sister.holder is not None:
            _without(self.holders[spec.holder_type], sister.holder, -1)
        if sister.lot is not None:
            self.stock.take_from(sister.lot, spec.items_per_tool)

    def _seated(self, need: SwapNeed, spec: SpecNeeds) -> tuple[str, str] | None:
        """The holder, with its type, that sits in a station before a swap."""
        if need.station_id not in self.seated:
            kind = need.releases_type or spec.holder_type
            holder = need.releases_holder
            self.seated[need.station_id] = (holder, kind) if holder else None
        return self.seated[need.station_id]

    def _take_ready(self, need: SwapNeed) -> Sister | None:
        heap = self.ready[need.tool_spec]
        found, aside = None, []
        while heap and found is None:
            void_after, code, holder = heappop(heap)
            if void_after < need.swap_by:
                # Void before this swap, hence before every later: it wants measuring again.
                heappush(self.unmeasured[need.tool_spec], (code, holder))
            elif self._lacks(code, need):
                aside.append((void_after, code, holder))  # another station may take it
            else:
                found = Sister("ready", assembly=code, holder=holder)
        for one in aside:
            heappush(heap, one)
        return found

    def _lacks(self, code: str, need: SwapNeed) -> tuple[str, ...]:
        """Measures that a station needs and the preset of a tool does not have."""
        measured = self.measures.get(code)
        return () if measured is None else tuple(sorted(need.measures - measured))

    def _take_lacking(self, need: SwapNeed, spec: SpecNeeds) -> Sister | None:
        """A measured tool that is to be measured again, with what the station needs."""
        heap = self.ready[need.tool_spec]
        if not heap:
            return None
        _, code, holder = heappop(heap)  # all that are left lack something for this station
        return Sister(
            "measure",
            assembly=code,
            holder=holder,
            minutes=spec.measure_minutes(self.usual),
            lacking=self._lacks(code, need),
        )

    def _take_unmeasured(self, need: SwapNeed, spec: SpecNeeds) -> Sister | None:
        heap = self.unmeasured[need.tool_spec]
        if not heap:
            return None
        code, holder = heappop(heap)
        minutes = spec.measure_minutes(self.usual)
        return Sister("measure", assembly=code, holder=holder, minutes=minutes)

    def _build(self, need: SwapNeed, spec: SpecNeeds, own: tuple[str, str] | None) -> Sister:
        minutes = spec.build_minutes(self.usual)
        free = self.holders[spec.holder_type]
        next_from = free[0][0] if free and free[0][0] is not _NOW else None
        available_from = self.finish(next_from, minutes) if next_from else None
        in_time = bool(free) and (available_from is None or available_from <= need.due_at)
        stays = not in_time and own is not None and own[1] == spec.holder_type
        lot = self.stock.take(spec) if in_time or stays else self.stock.find(spec)
        if lot is None:
            return self._edgeless(need.tool_spec, in_time, next_from)
        holder_from = next_from
        if stays:
            holder_from = need.freed_by or need.swap_by
            available_from = self.finish(holder_from, minutes)
        kept = lot if in_time or stays else None
        return Sister(
            "build" if in_time else "blocked",
            holder=heappop(free)[1] if in_time else None,
            lot=kept.lot if kept else None,
            cutting_item=kept.cutting_item if kept else None,
            minutes=minutes,
            missing=() if in_time else (_missing_holder(spec, next_from),),
            holder_from=holder_from,
            available_from=available_from,
        )

    def _edgeless(self, tool_spec: str, in_time: bool, next_from: datetime | None) -> Sister:
        """Blocked for want of edges: once they are gone, thousands of swaps get the same."""
        about = (tool_spec, in_time, next_from is not None)
        known = self.edgeless.get(about)
        if known is None:
            spec = self.specs[tool_spec]
            holder = () if in_time else (_missing_holder(spec, next_from),)
            known = self.edgeless[about] = Sister(
                "blocked",
                minutes=spec.build_minutes(self.usual),
                missing=(*holder, _missing_edges(spec)),
            )
        return known


class _Stock:
    """Edges left per lot, taken in the order of the lots."""

    def __init__(self, lots: Iterable[LotEdges]) -> None:
        self.lots: dict[str, list[LotEdges]] = defaultdict(list)
        for lot in lots:
            self.lots[lot.cutting_item].append(lot)
        self.left = {item: [lot.edges_left for lot in lots] for item, lots in self.lots.items()}
        self.first: dict[tuple[str, int], int] = {}

    def find(self, spec: SpecNeeds) -> LotEdges | None:
        """The first lot, of the most preferred item, that holds a whole tool's edges."""
        wanted = spec.items_per_tool
        for item in spec.cutting_items:
            left = self.left.get(item, [])
            # Lots only shrink: one passed over for so many edges never serves so many again.
            at = self.first.get((item, wanted), 0)
            while at < len(left) and left[at] < wanted:
                at += 1
            self.first[item, wanted] = at
            if at < len(left):
                return self.lots[item][at]
        return None

    def take_from(self, name: str, edges: int) -> None:
        """Take so many edges out of a lot, or all that it has left."""
        for item, lots in self.lots.items():
            for at, lot in enumerate(lots):
                if lot.lot == name:
                    self.left[item][at] = max(self.left[item][at] - edges, 0)

    def take(self, spec: SpecNeeds) -> LotEdges | None:
        """Take a tool's edges out of ``find``'s lot."""
        lot = self.find(spec)
        if lot is not None:
            at = self.first[lot.cutting_item, spec.items_per_tool]
            self.left[lot.cutting_item][at] -= spec.items_per_tool
        return lot


def _without(heap: list[Any], name: str, place: int) -> None:
    """Take the entries of a heap that hold a name at a place out of it."""
    kept = [entry for entry in heap if entry[place] != name]
    if len(kept) < len(heap):
        heap[:] = kept
        heapify(heap)


def _missing_holder(spec: SpecNeeds, next_from: datetime | None) -> Missing:
    text = sentence("No free holder of type {holder_type}", holder_type=spec.holder_type)
    if next_from is not None:
        text += sentence("; the next one comes out of a machine too late to be built in time")
    return Missing("holder", (spec.holder_type,), 1, text + ".")


def _missing_edges(spec: SpecNeeds) -> Missing:
    count = spec.items_per_tool
    edges = sentence("edge") if count == 1 else sentence("edges from one lot")
    text = sentence(
        "{count} {edges} of {cutting_items} not in stock.",
        count=count,
        edges=edges,
        cutting_items=together(OR, spec.cutting_items),
    )
    return Missing("edge", spec.cutting_items, count, text)
