"""How many holders of each type the shop needs for the swaps of a horizon.

Holders go round: out of the machine, to the bench, back as the next sister. A station keeps
one; every swap ties up one more from the begin of its bench work until it is made, and frees
the one that comes out. The bench is taken to work as late as it can and still be in time (one
job at a time, the latest due last); with jobs of one length no order ties up fewer.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from crib.planning.bench_order import us_from_min
from crib.planning.hours import BenchHours
from crib.sentence import sentence


@dataclass(frozen=True, slots=True)
class TiedHolder:
    """One swap's wish for a holder.

    Attributes:
        holder_type: Of which type.
        tool_spec: To build what.
        minutes: Bench time before the swap [min]; 0 where it is built already.
        swap_at: The instant of the swap.
        built: Whether it is built already and tied up from now on.
    """

    holder_type: str
    tool_spec: str
    minutes: float
    swap_at: datetime
    built: bool


@dataclass(frozen=True, slots=True)
class HolderStock:
    """Where the holders of one type are now.

    Attributes:
        owned: In service, wherever they are.
        out_of_service: Lent, in repair or worn, in no machine.
        mounted: In machines.
        waiting: Built, as sisters that wait to be measured or mounted.
    """

    owned: int
    out_of_service: int
    mounted: int
    waiting: int


@dataclass(frozen=True, slots=True)
class SpecNeed:
    """What one tool spec wants of its holder type.

    Attributes:
        tool_spec: The spec.
        swaps: Swaps within the horizon.
        most_at_once: Most sisters of it that are being built or wait at one time.
    """

    tool_spec: str
    swaps: int
    most_at_once: int


@dataclass(frozen=True, slots=True)
class HolderNeed:
    """Holders of one type.

    Attributes:
        holder_type: The type.
        owned: In service.
        out_of_service: Lent, in repair or worn.
        mounted: In machines.
        waiting: Built, as sisters.
        at_bench: Neither: bare, or come out and not taken apart yet.
        swaps: Swaps within the horizon.
        needed: Most that are wanted at one time, those in machines included.
        needed_at: The first instant at which so many are wanted; None without swaps.
        short_by: How many are missing then.
        tool_specs: What wants them, the busiest first.
        sentence: The same in words.
    """

    holder_type: str
    owned: int
    out_of_service: int
    mounted: int
    waiting: int
    at_bench: int
    swaps: int
    needed: int
    needed_at: datetime | None
    short_by: int
    tool_specs: tuple[SpecNeed, ...]
    sentence: str


def holders_needed(
    stocks: Mapping[str, HolderStock], tied: Sequence[TiedHolder], hours: BenchHours
) -> list[HolderNeed]:
    """Count holders, the shortest types first.

    Args:
        stocks: Every holder type.
        tied: The swaps of the horizon, in any order.
        hours: The bench's hours; its origin is now.
    """
    starts = _latest_starts(tied, hours)
    by_type: dict[str, list[int]] = defaultdict(list)
    for place, one in enumerate(tied):
        by_type[one.holder_type].append(place)
    needs = [_need(name, stock, by_type[name], tied, starts) for name, stock in stocks.items()]
    return sorted(
        needs, key=lambda one: (-one.short_by, one.owned - one.needed, one.holder_type)
    )


def _latest_starts(tied: Sequence[TiedHolder], hours: BenchHours) -> list[datetime]:
    """When each swap's holder is tied up from, now at the earliest."""
    starts = [hours.origin_at] * len(tied)
    free: float = float("inf")
    for place in sorted(range(len(tied)), key=lambda i: tied[i].swap_at, reverse=True):
        one = tied[place]
        if one.built:
            continue
        end = min(hours.work_until(one.swap_at), free)
        free = end - us_from_min(one.minutes)
        begin = hours.instant_of_start(round(free)) if free > 0 else None
        # work that ends with a shift is handed over then, whenever the swap comes
        starts[place] = hours.origin_at if begin is None else min(begin, one.swap_at)
    return starts


def _peak(spans: Sequence[tuple[datetime, datetime]]) -> tuple[int, datetime | None]:
    """Most spans open at one time, and since when; what ends at an instant is free then.

    A span of no length (due at once, nothing at hand) still wants a holder at its instant.
    """
    turns = [(begin, 1, 1) for begin, _ in spans]
    turns += [(end, 0 if begin < end else 2, -1) for begin, end in spans]
    turns.sort()
    most, now, at = 0, 0, None
    for instant, _, change in turns:
        now += change
        if now > most:
            most, at = now, instant
    return most, at


def _need(
    name: str,
    stock: HolderStock,
    places: Sequence[int],
    tied: Sequence[TiedHolder],
    starts: Sequence[datetime],
) -> HolderNeed:
    spans = [(starts[place], tied[place].swap_at) for place in places]
    most, at = _peak(spans)
    needed = stock.mounted + most
    short = max(needed - stock.owned, 0)
    specs: dict[str, list[int]] = defaultdict(list)
    for place in places:
        specs[tied[place].tool_spec].append(place)
    rows = [
        SpecNeed(spec, len(some), _peak([(starts[i], tied[i].swap_at) for i in some])[0])
        for spec, some in specs.items()
    ]
    rows.sort(key=lambda row: (-row.most_at_once, -row.swaps, row.tool_spec))
    return HolderNeed(
        holder_type=name,
        owned=stock.owned,
        out_of_service=stock.out_of_service,
        mounted=stock.mounted,
        waiting=stock.waiting,
        at_bench=max(stock.owned - stock.mounted - stock.waiting, 0),
        swaps=len(places),
        needed=needed,
        needed_at=at,
        short_by=short,
        tool_specs=tuple(rows),
        sentence=_sentence(name, stock, most, needed, short),
    )


def _sentence(name: str, stock: HolderStock, most: int, needed: int, short: int) -> str:
    spare = stock.owned - needed
    if not needed:
        return sentence(
            "None of type {name} is needed; {spare} to spare.", name=name, spare=spare
        )
    wanted = (
        sentence("{needed} of type {name} is needed", needed=needed, name=name)
        if needed == 1
        else sentence("{needed} of type {name} are needed", needed=needed, name=name)
    )
    where = sentence(
        "{mounted} in machines and {most} as sisters at one time",
        mounted=stock.mounted,
        most=most,
    )
    if short:
        return sentence(
            "{wanted}, {where}: {short} more than there are.",
            wanted=wanted,
            where=where,
            short=short,
        )
    return sentence(
        "{wanted}, {where}; {spare} to spare.", wanted=wanted, where=where, spare=spare
    )
