"""Where the parts of a time strip lie: hours by real time, wedges, marks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Final, TypeVar

from crib.floor.calendar import Stretch
from crib.left_out import each
from crib.outlook.hours_of_shop import LOOK_AHEAD
from crib.outlook.swap_rows import SwapRow
from crib.sentence import sentence
from crib.views.shift_view import MachineShift, StationLine

_Thing = TypeVar("_Thing")

#: The ends of a strip [% of its width]: it is as wide as the window lets it be.
LEFT: Final = 0.0
RIGHT: Final = 100.0

#: Widest step of the hour labels for horizons up to so many hours.
_STEPS: Final = ((30.0, 3), (54.0, 6), (10_000.0, 12))

_QUARTER: Final = timedelta(minutes=15)

#: Room of a swap's mark on the narrowest strip [%]; what lies closer is one mark with a number.
_MARK: Final = 5.0

#: States of sisters from the easiest to the worst.
_WORSE: Final = ("not_needed", "ready", "measure", "build", "blocked")


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """A line of real time: equal lengths are equal elapsed times, whatever clocks do."""

    begin_at: datetime
    end_at: datetime

    def x(self, at: datetime) -> float:
        """Place of an instant, never outside the field."""
        return round(min(max(self.beyond(at), LEFT), RIGHT), 2)

    def beyond(self, at: datetime) -> float:
        """Place of an instant on the same scale, also where the field has ended."""
        share = (at - self.begin_at) / (self.end_at - self.begin_at)
        return LEFT + share * (RIGHT - LEFT)

    def hours(self, zone: tzinfo) -> list[tuple[float, datetime]]:
        """Places of the round local hours, with their instants."""
        span = (self.end_at - self.begin_at) / timedelta(hours=1)
        step = next(step for most, step in _STEPS if span <= most)
        at = self.begin_at.replace(minute=0, second=0, microsecond=0)
        found = []
        while at <= self.end_at:
            local = at.astimezone(zone)
            if at >= self.begin_at and local.minute == 0 and local.hour % step == 0:
                found.append((self.x(at), at))
            at += _QUARTER
        return found


@dataclass(frozen=True, slots=True)
class Ground:
    """A piece of a strip's ground: ``day``, ``night`` or ``shut``."""

    kind: str
    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Mark:
    """Planned swaps that lie too close to stand apart: the first one's place.

    Attributes:
        x: Its place.
        state: The worst state of their sisters.
        at: When the first one is due.
        swaps: How many they are.
        worst: How many of them are in that state.
        overdue: How many of them are overdue.
    """

    x: float
    state: str
    at: datetime
    swaps: int = 1
    worst: int = 1
    overdue: int = 0


@dataclass(frozen=True, slots=True)
class Wedge:
    """Where one tool may fail, if nobody swaps it: thin at first, thick where it is likely.

    Attributes:
        early: Place of the early run-out (one in ten by then).
        middle: Place of the median; None where it lies beyond the horizon.
        late: Place of the late run-out (nine in ten).
        width: From the early to the late run-out, cut off by nothing: a wedge that goes on
            beyond the field must not look as if it ended there.
        until: Place of the swap that is planned; None where none is ahead. What lies behind it
            only comes if nobody swaps.
    """

    early: float
    middle: float | None
    late: float
    width: float
    until: float | None = None

    @property
    def before_swap(self) -> float:
        """How much of its width lies before the planned swap."""
        if self.until is None:
            return self.width
        return round(min(max(self.until - self.early, 0.0), self.width), 2)


@dataclass(frozen=True, slots=True)
class Row:
    """One strip.

    Attributes:
        name: What it is of.
        machine: Its machine.
        ground: Its calendar.
        line: The tool that runs out first; None where nothing is known.
        wedges: Of its tools.
        marks: Swaps.
        drawn: Whether anything but its name is: it could not be worked out otherwise.
    """

    name: str
    machine: str
    ground: tuple[Ground, ...]
    line: StationLine | None
    wedges: tuple[Wedge, ...] = ()
    marks: tuple[Mark, ...] = ()
    drawn: bool = True

    @property
    def overdue(self) -> int:
        """How many of its tools cut past their point."""
        return sum(mark.overdue for mark in self.marks)

    @property
    def first(self) -> float:
        """Up to where none of its tools may fail yet."""
        return min((wedge.early for wedge in self.wedges), default=LEFT)

    @property
    def calm(self) -> float:
        """Up to where some tool is sure to last."""
        return max((wedge.early for wedge in self.wedges), default=LEFT)


@dataclass(frozen=True, slots=True)
class Drawing:
    """A whole timeline; ``problems`` name the strips that could not be drawn."""

    axis: TimeAxis
    rows: tuple[Row, ...]
    problems: tuple[str, ...] = ()

    @property
    def by_name(self) -> dict[str, Row]:
        """The strips by what they are of."""
        return {row.name: row for row in self.rows}


def ground_of(axis: TimeAxis, open_stretches: Sequence[Stretch]) -> tuple[Ground, ...]:
    """Open and closed time without gaps from the left edge to the right one."""
    found: list[Ground] = []
    at = axis.begin_at

    def add(kind: str, begin: datetime, end: datetime) -> None:
        left, right = axis.x(begin), axis.x(end)
        if right > left:
            found.append(Ground(kind, left, round(right - left, 2)))

    for stretch in open_stretches:
        add("shut", at, stretch.start_at)
        add("day" if stretch.attended else "night", stretch.start_at, stretch.end_at)
        at = stretch.end_at
    add("shut", at, axis.end_at)
    return tuple(found)


def marks_of(axis: TimeAxis, swaps: Iterable[SwapRow]) -> tuple[Mark, ...]:
    """Swaps as marks that do not cover each other; none of a swap beyond the field."""
    found: list[Mark] = []
    inside = (one for one in swaps if one.swap_by <= axis.end_at)
    for swap in sorted(inside, key=lambda one: one.swap_by):
        x, state = axis.x(swap.swap_by), swap.sister.state
        overdue = int(swap.overdue_since is not None and not swap.before_next_job)
        last = found[-1] if found else None
        if last is None or x - last.x >= _MARK:
            found.append(Mark(x, state, swap.swap_by, overdue=overdue))
            continue
        worst = max(last.state, state, key=_WORSE.index)
        alike = (last.worst if worst == last.state else 0) + (worst == state)
        found[-1] = replace(
            last,
            state=worst,
            swaps=last.swaps + 1,
            worst=alike,
            overdue=last.overdue + overdue,
        )
    return tuple(found)


def draw_shop(axis: TimeAxis, machines: Sequence[MachineShift]) -> Drawing:
    """One strip per machine: where any of its tools may fail, and its swaps."""

    def row(one: MachineShift) -> Row:
        swaps = [swap for line in one.lines for swap in line.swaps]
        ground, marks = ground_of(axis, one.open), marks_of(axis, swaps)
        return _row(axis, one.machine, one.machine, ground, one.lines, marks)

    return _drawing(axis, machines, row, lambda one: (one.machine, one.machine))


def draw_machine(axis: TimeAxis, machine: MachineShift) -> Drawing:
    """One strip per station of a machine."""

    def row(line: StationLine) -> Row:
        ground, marks = ground_of(axis, machine.open), marks_of(axis, line.swaps)
        return _row(axis, line.forecast.station, machine.machine, ground, (line,), marks)

    return _drawing(
        axis, machine.lines, row, lambda line: (line.forecast.station, machine.machine)
    )


def _drawing(
    axis: TimeAxis,
    things: Sequence[_Thing],
    row: Callable[[_Thing], Row],
    names: Callable[[_Thing], tuple[str, str]],
) -> Drawing:
    """A strip for each; of one that cannot be drawn its name and machine."""
    rows: list[Row] = []

    def failed(thing: _Thing) -> str:
        name, machine = names(thing)
        rows.append(Row(name, machine, (), None, drawn=False))
        return sentence(
            "The strip of {name} could not be drawn. Read its swaps in the tables "
            "instead. The service log has the details.",
            name=name,
        )

    problems = each(things, lambda thing: rows.append(row(thing)), failed)
    return Drawing(axis, tuple(rows), tuple(problems))


def _row(
    axis: TimeAxis,
    name: str,
    machine: str,
    ground: tuple[Ground, ...],
    lines: Sequence[StationLine],
    marks: tuple[Mark, ...],
) -> Row:
    known = [line for line in lines if line.forecast.parts_left["p50"] is not None]
    wedges = tuple(_wedge(axis, line) for line in known)
    return Row(name, machine, ground, known[0] if known else None, wedges, marks)


def _wedge(axis: TimeAxis, line: StationLine) -> Wedge:
    out = line.forecast.run_out_at
    swap = next((one.swap_by for one in line.swaps if not one.standby), None)
    until = axis.x(swap) if swap is not None and swap > axis.begin_at else None
    early = axis.x(out["p10"] or axis.end_at)
    late = axis.x(out["p90"] or axis.end_at)
    end = axis.beyond(out["p90"] or axis.begin_at + LOOK_AHEAD)
    at = out["p50"]
    middle = axis.x(at) if at is not None and at <= axis.end_at else None
    return Wedge(early, middle, late, round(max(end - early, 0.0), 2), until)
