"""Where the parts of a run-out timeline lie: hours by real time, rows, lines, marks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Final, TypeVar

from crib.floor.calendar import Stretch
from crib.left_out import each
from crib.outlook.hours_of_shop import LOOK_AHEAD
from crib.outlook.shop_plan import Forecast
from crib.outlook.swap_list import SwapRow
from crib.sentence import sentence
from crib.views.shift_view import MachineShift, StationLine

_Thing = TypeVar("_Thing")

#: The drawing field in figure units; left of it stand the names, above it the hours.
LEFT: Final = 150.0
RIGHT: Final = 1180.0
TOP: Final = 48.0
ROW: Final = 30.0

#: Widest step of the hour labels for horizons up to so many hours.
_STEPS: Final = ((30.0, 3), (54.0, 6), (10_000.0, 12))

_QUARTER: Final = timedelta(minutes=15)

#: Room of a swap's mark, and of one with a number beside it; what lies closer is counted.
_MARK: Final = 17.0
_COUNTED: Final = 34.0

#: States of sisters from the easiest to the worst.
_WORSE: Final = ("not_needed", "ready", "measure", "build", "blocked")


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """A line of real time: equal lengths are equal elapsed times, whatever clocks do."""

    begin_at: datetime
    end_at: datetime

    def x(self, at: datetime) -> float:
        """Place of an instant, never outside the field."""
        return round(min(max(self.beyond(at), LEFT), RIGHT), 1)

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
    """A piece of a row's ground: ``day``, ``night`` or ``shut``."""

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
    """

    x: float
    state: str
    at: datetime
    swaps: int = 1
    worst: int = 1


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the drawing.

    Attributes:
        name: What stands left of it.
        machine: Its machine.
        y: Its upper edge.
        ground: Its calendar.
        line: The tool drawn as a line; None where nothing is known of it.
        early: Place of the early run-out (one in ten by then); the line is sure up to it.
        middle: Place of the median; None where it lies beyond the horizon.
        late: Place of the late run-out (nine in ten).
        fade: Length from the early to the late run-out, cut off by nothing: a line that goes
            on beyond the field must not look as if it ended there.
        others: Medians of the machine's other tools.
        marks: Swaps.
        drawn: Whether anything but its name is: it could not be worked out otherwise.
    """

    name: str
    machine: str
    y: float
    ground: tuple[Ground, ...]
    line: StationLine | None
    early: float
    middle: float | None
    late: float
    fade: float = 0.0
    others: tuple[float, ...] = ()
    marks: tuple[Mark, ...] = ()
    drawn: bool = True


@dataclass(frozen=True, slots=True)
class Drawing:
    """A whole timeline; ``height`` holds all rows, ``problems`` tell of those not drawn."""

    axis: TimeAxis
    rows: tuple[Row, ...]
    problems: tuple[str, ...] = ()

    @property
    def height(self) -> float:
        """Height of the figure."""
        return TOP + ROW * len(self.rows) + 8


def ground_of(axis: TimeAxis, open_stretches: Sequence[Stretch]) -> tuple[Ground, ...]:
    """Open and closed time without gaps from the left edge to the right one."""
    found: list[Ground] = []
    at = axis.begin_at

    def add(kind: str, begin: datetime, end: datetime) -> None:
        left, right = axis.x(begin), axis.x(end)
        if right > left:
            found.append(Ground(kind, left, round(right - left, 1)))

    for stretch in open_stretches:
        add("shut", at, stretch.start_at)
        add("day" if stretch.attended else "night", stretch.start_at, stretch.end_at)
        at = stretch.end_at
    add("shut", at, axis.end_at)
    return tuple(found)


def marks_of(axis: TimeAxis, swaps: Iterable[SwapRow]) -> tuple[Mark, ...]:
    """Swaps as marks that do not cover each other."""
    found: list[Mark] = []
    for swap in sorted(swaps, key=lambda one: one.swap_by):
        x, state = axis.x(swap.swap_by), swap.sister.state
        last = found[-1] if found else None
        if last is None or x - last.x >= (_MARK if last.swaps == 1 else _COUNTED):
            found.append(Mark(x, state, swap.swap_by))
            continue
        worst = max(last.state, state, key=_WORSE.index)
        alike = (last.worst if worst == last.state else 0) + (worst == state)
        found[-1] = replace(last, state=worst, swaps=last.swaps + 1, worst=alike)
    return tuple(found)


def draw_shop(axis: TimeAxis, machines: Sequence[MachineShift]) -> Drawing:
    """One row per machine: its most urgent tool as a line, the others' medians as ticks."""

    def row(one: MachineShift, index: int) -> Row:
        first = one.lines[0] if one.lines else None
        swaps = [swap for line in one.lines for swap in line.swaps]
        others = tuple(
            place for line in one.lines[1:] if (place := _middle(axis, line.forecast))
        )
        marks = marks_of(axis, swaps)
        ground = ground_of(axis, one.open)
        return _row(axis, one.machine, one.machine, index, ground, first, others, marks)

    return _drawing(axis, machines, row, lambda one: (one.machine, one.machine))


def draw_machine(axis: TimeAxis, machine: MachineShift) -> Drawing:
    """One row per mounted tool of a machine."""

    def row(line: StationLine, index: int) -> Row:
        ground, marks = ground_of(axis, machine.open), marks_of(axis, line.swaps)
        name = line.forecast.station
        return _row(axis, name, machine.machine, index, ground, line, (), marks)

    return _drawing(
        axis, machine.lines, row, lambda line: (line.forecast.station, machine.machine)
    )


def _drawing(
    axis: TimeAxis,
    things: Sequence[_Thing],
    row: Callable[[_Thing, int], Row],
    names: Callable[[_Thing], tuple[str, str]],
) -> Drawing:
    """A row for each; of one that cannot be drawn its name and machine."""
    rows: list[Row] = []

    def failed(thing: _Thing) -> str:
        name, machine = names(thing)
        y = TOP + ROW * len(rows)
        rows.append(Row(name, machine, y, (), None, LEFT, None, LEFT, drawn=False))
        return sentence(
            "The row of {name} in the timeline could not be drawn. Read the table below the "
            "timeline instead; the service's log names the fault.",
            name=name,
        )

    problems = each(things, lambda thing: rows.append(row(thing, len(rows))), failed)
    return Drawing(axis, tuple(rows), tuple(problems))


def _row(
    axis: TimeAxis,
    name: str,
    machine: str,
    index: int,
    ground: tuple[Ground, ...],
    line: StationLine | None,
    others: tuple[float, ...],
    marks: tuple[Mark, ...],
) -> Row:
    y = TOP + ROW * index
    known = line is not None and line.forecast.parts_left["p50"] is not None
    if line is None or not known:
        return Row(name, machine, y, ground, None, LEFT, None, LEFT, 0.0, others, marks)
    out = line.forecast.run_out_at
    early = axis.x(out["p10"] or axis.end_at)
    late = axis.x(out["p90"] or axis.end_at)
    end = axis.beyond(out["p90"] or axis.begin_at + LOOK_AHEAD)
    middle = _middle(axis, line.forecast)
    fade = round(max(end - early, 0.0), 1)
    return Row(name, machine, y, ground, line, early, middle, late, fade, others, marks)


def _middle(axis: TimeAxis, forecast: Forecast) -> float | None:
    """Place of the median run-out; None where it is not within the horizon."""
    at = forecast.run_out_at["p50"]
    return axis.x(at) if at is not None and at <= axis.end_at else None
