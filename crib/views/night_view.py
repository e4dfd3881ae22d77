"""What to do with a machine while nobody is there: answer, reason, list to work off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from crib.clock import instant_from_us
from crib.left_out import Kept, worked_out
from crib.outlook.before_nights import can_be_made_before, due_before, swap_minutes
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.swap_rows import SwapRow
from crib.planning.night import MachineNight
from crib.planning.night_options import (
    IDLE,
    LOOK,
    RUN,
    STAND,
    SWAP,
    UNTIL,
    Decision,
    Option,
    Prices,
    decide,
)
from crib.planning.night_words import answer_sentence, reason_sentence, scale_sentence
from crib.sentence import sentence
from crib.store.shop_records import SpecOfShop

#: What needs somebody most stands first.
_NEED = (LOOK, STAND, UNTIL, SWAP, RUN, IDLE)


@dataclass(frozen=True, slots=True)
class NightCarrier:
    """A station that carries risk of a stretch, its own chance to fail in it."""

    forecast: Forecast
    fail_probability: float


@dataclass(frozen=True, slots=True)
class NightSwap:
    """A swap of the swap list that is due before a stretch.

    Attributes:
        forecast: Of what sits in the station.
        minutes: What it takes; None where the tool spec does not say.
        row: Its row of the list.
    """

    forecast: Forecast
    minutes: float | None
    row: SwapRow


@dataclass(frozen=True, slots=True)
class NightOption:
    """One thing to do with a stretch.

    Attributes:
        option: Its figures.
        until_at: When to stop; None: not before the end.
        stations: Stations to swap first.
        carriers: Stations that carry most of its risk.
    """

    option: Option
    until_at: datetime | None
    stations: tuple[str, ...]
    carriers: tuple[NightCarrier, ...]


@dataclass(frozen=True, slots=True)
class NightView:
    """One unattended stretch in full.

    Attributes:
        night: What the plan says of it.
        decision: What to do with it.
        begin_at: Its begin.
        end_at: Its end.
        answer: What to do, in words.
        reason: Why; empty where there is nothing to decide.
        scale: By how much earlier stretches scaled the risk, in words; None: hardly.
        options: What else can be done, the least careful first.
        swaps: Swaps that the answer asks for, and stations that stand empty, in the order of
            the walk.
        also_due: Swaps of the swap list that are due before it, too, but not for its sake, and
            what a changeover mounts.
    """

    night: MachineNight
    decision: Decision
    begin_at: datetime
    end_at: datetime
    answer: str
    reason: str
    scale: str | None
    options: tuple[NightOption, ...]
    swaps: tuple[NightSwap, ...]
    also_due: tuple[NightSwap, ...]

    @property
    def state(self) -> str:
        """``safe`` without any swap, ``swaps`` (safe once they are made) or ``unsafe``."""
        if self.decision.kind in (RUN, IDLE):
            return "safe"
        return "swaps" if self.decision.kind == SWAP else "unsafe"

    @property
    def chosen(self) -> NightOption | None:
        """The option that the answer names."""
        kind = self.decision.kind
        return next((one for one in self.options if one.option.kind == kind), None)

    @property
    def job_ends_at(self) -> datetime | None:
        """When the last job ahead of it is done, where nothing is cut in it."""
        ends_us = self.night.job_ends_us if self.decision.kind == IDLE else None
        return None if ends_us is None else instant_from_us(ends_us)

    @property
    def minutes(self) -> float | None:
        """Work of the swaps to make; None where a tool spec gives no minutes."""
        known = [swap.minutes for swap in self.swaps if swap.minutes is not None]
        return sum(known) if len(known) == len(self.swaps) else None


def nights_of(plan: ShopPlan, machine: str) -> Kept[NightView]:
    """The unattended stretches ahead of one machine, the next one first.

    One that cannot be worked out is left out, and named in ``problems``.
    """
    rows = [night for night in plan.nights if night.machine == machine]
    return worked_out(
        sorted(rows, key=lambda one: one.ordinal),
        lambda night: night_view(plan, night),
        lambda night: sentence(
            "A night of machine {machine} could not be worked out, so it is not "
            "known to be safe. Look at its edges. The service log has the details.",
            machine=machine,
        ),
    )


def tonight(plan: ShopPlan, machine: str | None = None) -> Kept[NightView]:
    """The next unattended stretch of every machine, those first that need most.

    One that cannot be worked out is left out, and named in ``problems``.

    Args:
        plan: The shop's plan.
        machine: Only this one.
    """
    return _viewed(
        plan,
        [one for one in plan.nights if not one.ordinal and machine in (None, one.machine)],
    )


def _viewed(plan: ShopPlan, nights: list[MachineNight]) -> Kept[NightView]:
    """Stretches of several machines, those first that need most."""
    found = worked_out(
        nights,
        lambda night: night_view(plan, night),
        lambda night: sentence(
            "The next night of machine {machine} could not be worked out, so it is "
            "not known to be safe. Look at its edges. The service log has the "
            "details.",
            machine=night.machine,
        ),
    )
    found.sort(key=neediest_first)
    return found


def nights_ahead(plan: ShopPlan) -> Kept[NightView]:
    """The first stretch of every machine that has not begun.

    One that cannot be worked out is left out, and named in ``problems``.
    """
    first: dict[str, MachineNight] = {}
    for one in sorted(plan.nights, key=lambda one: one.ordinal):
        if not one.begun:
            first.setdefault(one.machine, one)
    return _viewed(plan, [*first.values()])


def night_view(plan: ShopPlan, night: MachineNight) -> NightView:
    """One stretch in full.

    Args:
        plan: The shop's plan.
        night: One of its stretches.
    """
    seated = plan.by_station()
    begin_at = instant_from_us(night.begin_us)
    rows, specs = due_before(plan, night), _specs(plan)
    decision = decide(night, _prices(plan, night, rows))
    names = {station_id: one.station for station_id, one in seated.items()}
    chosen = decision.chosen
    wanted = {swap.station_id for swap in chosen.swaps} if chosen else set()
    swaps = [
        NightSwap(row.forecast, spec.swap_minutes if spec else None, row)
        for row in rows
        for spec in (specs.get(row.tool_spec),)
    ]
    now = plan.shop.now
    first = [
        swap
        for swap in swaps
        if swap.forecast.station_id in wanted or (swap.row.fills and swap.row.is_due(now))
    ]
    return NightView(
        night,
        decision,
        begin_at,
        instant_from_us(night.end_us),
        answer_sentence(night, decision, names),
        reason_sentence(night, decision, names),
        scale_sentence(night),
        tuple(_option(one, seated) for one in decision.options),
        tuple(first),
        tuple(swap for swap in swaps if swap not in first),
    )


def decided(plan: ShopPlan, night: MachineNight) -> Decision:
    """What to do with a stretch; sisters are asked for only of a machine's next one."""
    rows = [] if night.ordinal else due_before(plan, night)
    return decide(night, _prices(plan, night, rows))


def neediest_first(one: NightView) -> tuple[int, float, str]:
    """Order of stretches: those first that need most."""
    return _NEED.index(one.decision.kind), -one.night.as_it_stands, one.night.machine


def _option(option: Option, seated: Mapping[int, Forecast]) -> NightOption:
    return NightOption(
        option,
        None if option.until_us is None else instant_from_us(option.until_us),
        tuple(seated[swap.station_id].station for swap in option.swaps),
        tuple(
            NightCarrier(seated[one.station_id], one.fail_probability)
            for one in option.carriers
        ),
    )


def _specs(plan: ShopPlan) -> dict[str, SpecOfShop]:
    return {spec.tool_spec: spec for spec in plan.shop.rows.specs.values()}


def _prices(plan: ShopPlan, night: MachineNight, rows: list[SwapRow]) -> Prices:
    """What the records say of the stations of a machine."""
    specs, minutes = _specs(plan), swap_minutes(plan)
    failure = {
        station_id: spec.failure_cost_minor
        for station_id, one in plan.by_station().items()
        if (spec := specs.get(one.tool_spec))
    }
    cannot = frozenset(
        row.forecast.station_id
        for row in rows
        if not can_be_made_before(row, instant_from_us(night.begin_us), minutes)
    )
    return Prices(minutes, failure, cannot)
