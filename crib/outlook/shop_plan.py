"""Forecast of every mounted edge: parts left, run-out times, chances, swap point, and why."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from crib.clock import instant_from_us, print_instant
from crib.left_out import NOT_WORKED_OUT
from crib.life.aside import SetAside
from crib.life.model import LifeModel
from crib.life.observations import LifeHistories
from crib.outlook.collector import collector_rests
from crib.outlook.expected_lives import ExpectedLives, expect_lives
from crib.outlook.kept_output import KeptOutput
from crib.outlook.mounted_edges import MINUTE_MINOR
from crib.outlook.nights_begun import nights_begun
from crib.outlook.out_now import NOW, with_out_now
from crib.outlook.overdue import overdue_of
from crib.outlook.own_constants import refine_view
from crib.outlook.shelf_now import make_shelf
from crib.outlook.shop_now import ShopNow, view_machines, with_tools
from crib.outlook.sound_plan import (
    limits_of_machines,
    nights_seen,
    refuse_unsound,
    stops_by_machine,
    without_culprits,
    worn_elsewhere,
)
from crib.outlook.stays import Key, Stay
from crib.outlook.to_put_right import DOUBTED_AGE, ToPutRight
from crib.outlook.vacancies import EMPTY, Vacancy
from crib.planning.due import EARLY, MountedEdge
from crib.planning.night import NIGHT_LIMIT, MachineNight
from crib.planning.night_scale import under_scale
from crib.planning.shelf import Shelf
from crib.planning.stops_ahead import Stops
from crib.planning.swap_plan import PlannedSwaps, plan_swaps
from crib.planning.swaps import RUN_ENDS_FIRST, RUN_TO_FAILURE, WHYS, StationPlan
from crib.sentence import figure, sentence
from crib.store.engine import Tx

if TYPE_CHECKING:
    from crib.outlook.swap_rows import SwapList

#: Names of ``crib.planning.due.PROBS``.
QUANTILES = ("p05", "p10", "p50", "p90")

#: Why no swap of an edge is planned.
NOT_PLANNED = (WHYS[RUN_ENDS_FIRST], WHYS[RUN_TO_FAILURE])


@dataclass(frozen=True, slots=True)
class Basis:
    """What a forecast stands on.

    Attributes:
        key: Name of the life law, for ``/v1/life/KEY``.
        worn: Lives of the key that ended by wear.
        broken: Lives that ended by breakage.
        taken_out_early: Lives that were cut short (censored).
        prior: ``tool_life``, ``own_lives`` (its exponents estimated from the shop's own
            edges), ``life_parts`` or ``starter``.
        wear_per_part: Wear units per part now.
        size_signal: Whether size corrections set the swap.
        beyond: What of the cut lies outside the range that the constants hold in.
    """

    key: str
    worn: int
    broken: int
    taken_out_early: int
    prior: str
    wear_per_part: float
    size_signal: bool
    beyond: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Forecast:
    """One mounted assembly; quantiles are None where no run ahead uses the station.

    ``parts_left`` and ``run_out_at`` at p05, p10, p50, p90: that share of like edges has given
    out by then. ``cost_if_earlier_minor`` and ``cost_if_later_minor`` are what swapping
    ``cost_step_parts`` earlier (at most as early as now) or later would cost beside the plan
    [hundredths of the currency]. ``overdue_parts`` and ``overdue_since``
    say for how long an edge has been past its point; ``due_since`` also of one that broke, of
    a tool that cannot run there and of an empty station; ``wanted`` is the spec that what runs,
    or comes next, needs in its place, where that is another. A forecast is no promise.
    """

    station_id: int
    station_code: str
    machine: str
    station: str
    tool_number: int
    path: int
    assembly: str
    tool_spec: str
    holder_id: int
    part: str | None
    mounted_at: datetime
    parts_made: int
    engaged_min: float | None
    share_used: float
    parts_left: dict[str, int | None]
    run_out_at: dict[str, datetime | None]
    fail_probability_shift: float | None
    fail_probability_unattended: float | None
    swap_after_parts: int | None
    swap_by: datetime | None
    why: str
    why_sentence: str
    basis: Basis | None
    cost_step_parts: int | None = None
    cost_if_earlier_minor: int | None = None
    cost_if_later_minor: int | None = None
    overdue_parts: int | None = None
    overdue_since: datetime | None = None
    due_since: datetime | None = None
    wanted: str | None = None
    out_only: bool = False

    @property
    def place(self) -> str:
        """Machine and station, as people name it."""
        return f"{self.machine}/{self.station}"


@dataclass(frozen=True, slots=True)
class ShopPlan:
    """The whole plan of the shop at an instant.

    Attributes:
        shop: What it was made from.
        model: The fitted life model.
        keys: Keys in the order of the model's rows.
        histories: The lives that it was fitted to.
        forecasts: One per mounted assembly, the most urgent first.
        nights: Unattended stretches of the machines ahead, the next ones first.
        aside: Lives that were not believed.
        edges: Inputs per mounted edge with a plan, for deeper looks.
        swaps: The swaps of their stations.
        expected: What was known before they were planned.
        shelf: What waits, is free or in stock.
        empty: Stand-ins for the forecasts of stations that a run needs a tool in and that have
            none; ``assembly`` is empty.
        listed: Swap lists made from it, by horizon [h].
        kits: Kits made from it, by run; None where one cannot be made.
        without: Makes it again where the swaps of some stations come too late for the next
            night, from the same facts.
        fits: How well the lives of a key fit its curve, by its row and wear per part.
    """

    shop: ShopNow
    model: LifeModel
    keys: list[Key]
    histories: LifeHistories
    forecasts: list[Forecast]
    nights: list[MachineNight]
    aside: list[SetAside]
    edges: list[MountedEdge]
    swaps: PlannedSwaps
    expected: ExpectedLives
    shelf: Shelf
    empty: list[Forecast]
    without: Callable[[frozenset[int]], ShopPlan] = field(repr=False, compare=False)
    listed: dict[float, SwapList] = field(default_factory=dict)
    kits: dict[int, object] = field(default_factory=dict)
    fits: dict[tuple[int, float | None], object] = field(default_factory=dict)

    def by_station(self) -> dict[int, Forecast]:
        """What sits in each station, or what is needed where none does, by station id."""
        return {one.station_id: one for one in (*self.empty, *self.forecasts)}


def plan_shop(
    tx: Tx,
    now: datetime,
    *,
    night_limit: float = NIGHT_LIMIT,
    kept: KeptOutput | None = None,
    before: LifeModel | None = None,
    left_out: Mapping[int, str] | None = None,
) -> ShopPlan:
    """Forecast every mounted edge from the facts dated up to an instant.

    Args:
        tx: An open transaction.
        now: The instant.
        night_limit: Chance of a failure that a machine may run with while nobody is there,
            where its record gives none.
        kept: What the process kept of the counters, if it makes plans one after the other.
        before: The life model of the plan before this one, likewise.
        left_out: Tools that the plan before this one was made without, likewise.
    """
    with collector_rests():
        machines = view_machines(tx, now, kept)
        stopped, failed = stops_by_machine(machines)

        def plan_of(machines: ShopNow, only: Iterable[int] | None = None) -> ShopPlan:
            tools = None if only is None else frozenset(only)
            shop = refine_view(with_tools(machines, tools))
            expected = expect_lives(tx, shop, before if only is None else None)
            return _plan_of(expected, night_limit, stopped)

        return without_culprits(machines.telling(failed), plan_of, left_out or {})


def _plan_of(
    expected: ExpectedLives,
    night_limit: float,
    stops: Sequence[Stops],
    late: frozenset[int] = frozenset(),
) -> ShopPlan:
    ahead, lives, model = expected.ahead, expected.lives, expected.model
    shelf, not_on_shelf = make_shelf(expected.shop)
    shop = expected.shop.telling(not_on_shelf)
    mounted, edges, due = expected.mounted, expected.edges, expected.due
    refuse_unsound(expected)
    limits = limits_of_machines(shop, expected.mounted, night_limit)
    swaps = plan_swaps(
        shop.ahead,
        edges,
        due,
        model,
        stops=stops,
        minute_cost=MINUTE_MINOR,
        limit=limits,
        scale=expected.night_scale,
        begun=nights_begun(expected),
        late=np.array([edge.station_id in late for edge in edges], dtype=np.bool_),
    )
    stations = swaps.stations[: len(mounted)]
    forecasts = _foreseen(shop, expected, stations)
    planned = {stay.row.mount_id for stay in mounted}
    seats = _Seats(shop)
    forecasts += [
        seats.unknown(stay)
        for stay in shop.stays
        if stay.row.mount_id in ahead and stay.row.mount_id not in planned
    ]
    forecasts += _not_worked_out(shop, seats)
    forecasts = with_out_now(shop, forecasts)
    last = datetime.max.replace(tzinfo=shop.now.tzinfo)
    forecasts.sort(
        key=lambda f: (
            f.why not in NOW or (f.swap_by or last) > shop.now,
            f.why != NOT_WORKED_OUT,
            f.swap_by or last,
            f.machine,
            f.path,
            f.tool_number,
            f.station,
        )
    )
    return ShopPlan(
        shop,
        model,
        lives.keys,
        lives.histories,
        forecasts,
        nights_seen(shop, swaps.nights, limits),
        model.aside,
        edges,
        swaps,
        expected,
        shelf,
        [seats.empty(one) for one in expected.vacancies],
        without=lambda late: _plan_of(expected, night_limit, stops, late),
    )


_NOT_KNOWN = sentence(
    "No run of this machine uses the station, or its tool spec has neither "
    "cutting data nor life_parts: no forecast is possible."
)


class _Seats:
    """Where mounted assemblies sit: what a forecast begins with."""

    def __init__(self, shop: ShopNow) -> None:
        self.rows = shop.rows
        self.part_now: dict[int, str] = {}
        for machine_id, runs in shop.rows.runs.items():
            for run in runs:
                if run.state == "running":
                    self.part_now.setdefault(machine_id, run.part)

    def empty(self, one: Vacancy) -> Forecast:
        """A stand-in for the forecast of a tool that is still to be mounted."""
        seat = self._seat(one.station_id, one.tool_spec_id, one.at, one.part)
        return replace(
            seat,
            swap_by=one.at,
            due_since=one.since,
            why=EMPTY,
            why_sentence=one.sentence,
        )

    def unknown(self, stay: Stay) -> Forecast:
        """What is known of a mounted assembly without any forecast."""
        station = self.rows.stations[stay.row.station_id]
        assembly = self.rows.assemblies[stay.row.assembly_id]
        return self._seat(
            station.id,
            assembly.tool_spec_id,
            instant_from_us(stay.row.begin_us),
            self.part_now.get(station.machine_id),
            assembly=assembly.code,
            holder_id=assembly.holder_id,
            parts_made=stay.parts,
            engaged_min=stay.engaged_min,
        )

    def _seat(
        self,
        station_id: int,
        tool_spec_id: int,
        mounted_at: datetime,
        part: str | None,
        *,
        assembly: str = "",
        holder_id: int = 0,
        parts_made: int = 0,
        engaged_min: float | None = None,
    ) -> Forecast:
        station = self.rows.stations[station_id]
        return Forecast(
            station_id=station.id,
            station_code=station.code,
            machine=station.machine,
            station=station.station,
            tool_number=station.tool_number,
            path=station.path or 1,
            assembly=assembly,
            tool_spec=self.rows.specs[tool_spec_id].tool_spec,
            holder_id=holder_id,
            part=part,
            mounted_at=mounted_at,
            parts_made=parts_made,
            engaged_min=engaged_min,
            share_used=0.0,
            parts_left=dict.fromkeys(QUANTILES),
            run_out_at=dict.fromkeys(QUANTILES),
            fail_probability_shift=None,
            fail_probability_unattended=None,
            swap_after_parts=None,
            swap_by=None,
            why="not_known",
            why_sentence=_NOT_KNOWN,
            basis=None,
        )


def _foreseen(
    shop: ShopNow, expected: ExpectedLives, plans: Sequence[StationPlan]
) -> list[Forecast]:
    """One forecast per edge with a plan, from the columns of ``due``; nights under a factor."""
    ahead, keys, model = expected.ahead, expected.lives.keys, expected.model
    mounted, edges, due = expected.mounted, expected.edges, expected.due
    doubted = expected.doubted
    seats, names = _Seats(shop), [key.text(shop.rows.items) for key in keys]
    seen = model.basis(np.arange(len(keys)))
    worn, broken, early = seen.worn.tolist(), seen.broken.tolist(), seen.censored.tolist()
    times = [machine.time for machine in shop.ahead]
    columns = zip(
        due.parts_left.tolist(),
        due.run_out_us.tolist(),
        due.fail_shift.tolist(),
        np.isfinite(due.dark_s[:, 0]).tolist(),
        under_scale(due.fail_dark, expected.night_scale).tolist(),
        due.wear_now.tolist(),
        strict=True,
    )
    forecasts = []
    # the edges that are still to be mounted come last, and have no forecast of their own
    for stay, edge, plan, row in zip(mounted, edges, plans, columns, strict=False):
        parts_left, run_out_us, fail_shift, has_dark, fail_dark, wear_now = row
        basis = Basis(
            names[edge.key],
            worn[edge.key],
            broken[edge.key],
            early[edge.key],
            ahead[stay.row.mount_id].basis or stay.basis,
            wear_now,
            plan.size_sets,
            ahead[stay.row.mount_id].beyond,
        )
        overdue = overdue_of(shop, stay, edge.age, plan, wear_now)
        mount_id = stay.row.mount_id
        forecasts.append(
            replace(
                seats.unknown(stay),
                share_used=edge.age,
                parts_left=dict(zip(QUANTILES, map(_whole, parts_left), strict=True)),
                run_out_at=dict(zip(QUANTILES, map(_instant, run_out_us), strict=True)),
                fail_probability_shift=fail_shift,
                fail_probability_unattended=fail_dark if has_dark else None,
                swap_after_parts=_whole(plan.parts),
                swap_by=_instant(times[edge.machine].clock_at(plan.first.seconds)),
                why=plan.first.why if mount_id not in doubted else DOUBTED_AGE,
                why_sentence=_sentence(plan, run_out_us[EARLY], doubted.get(mount_id)),
                basis=basis,
                cost_step_parts=_whole(plan.step_parts),
                cost_if_earlier_minor=_money(plan.cost_if_earlier),
                cost_if_later_minor=_money(plan.cost_if_later),
                # of an age that nobody believes it cannot be said how far past it is
                overdue_parts=overdue.parts if overdue and mount_id not in doubted else None,
                overdue_since=overdue.since if overdue and mount_id not in doubted else None,
                due_since=overdue.since if overdue else None,
            )
        )
    return forecasts


def _sentence(plan: StationPlan, early_us: int, doubted: ToPutRight | None) -> str:
    """Why an edge comes out when it does; where no swap is planned, by when a sister is due."""
    if doubted is not None:
        return doubted.sentence
    said = plan.first.sentence
    if early_us < 0 or plan.first.why not in NOT_PLANNED:
        return said
    ready_by = print_instant(instant_from_us(early_us))
    if plan.first.why == WHYS[RUN_TO_FAILURE]:
        return sentence(
            "Run it until it fails, sister ready by {ready_by}: swapping it early "
            "would cost more ({failing_first} of such edges fail before it would "
            "pay).",
            ready_by=ready_by,
            failing_first=figure(plan.failing_first, ".0%"),
        )
    return sentence(
        "No swap is planned before its run ends, but one in ten fails first: sister "
        "ready by {ready_by}.",
        ready_by=ready_by,
    )


def _not_worked_out(shop: ShopNow, seats: _Seats) -> list[Forecast]:
    """Mounted edges that the plan was made without: unknown, hence to be looked at now."""
    found = []
    for row in shop.unknown:
        station = shop.rows.stations.get(row.station_id)
        if row.end_us is not None or station is None:
            continue
        machine_why = shop.left_out.machines.get(station.machine_id)
        why = (
            machine_why or shop.left_out.tools.get(row.assembly_id) or worn_elsewhere(shop, row)
        )
        stay = Stay(row, 0, 0.0, None, None, 0.0, "")
        unknown = seats.unknown(stay)
        found.append(replace(unknown, why=NOT_WORKED_OUT, why_sentence=why))
    return found


def _whole(value: float) -> int | None:
    return math.floor(value) if math.isfinite(value) else None


def _money(cost: float | None) -> int | None:
    return None if cost is None else round(cost)


def _instant(at_us: int) -> datetime | None:
    return instant_from_us(at_us) if at_us >= 0 else None
