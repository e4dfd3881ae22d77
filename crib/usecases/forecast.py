"""Forecast of every mounted edge: parts left, run-out times, chances, swap point, and why."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from crib.floor.timeline import instant
from crib.life.model import Basis as LivesSeen
from crib.life.model import LifeModel, fit_life_model
from crib.life.observations import LifeHistories, SetAside, life_histories
from crib.life.pooling import KeyTable, key_table
from crib.life.wear import size_growth_mm
from crib.planning.demand import WearAhead
from crib.planning.due import EdgesDue, MachineAhead, MountedEdge, edges_due, next_wear
from crib.planning.night import NIGHT_LIMIT, MachineNight, keep_the_night
from crib.planning.swaps import StationPlan, plan_stations
from crib.store.engine import Tx
from crib.usecases.shop_view import GOES_ON, ShopView, ending, view_shop
from crib.usecases.stays import Key, Stay

# Costs where a tool spec or item gives none, in hundredths of the shop's currency (plain
# defaults, common practice, no source): a minute of bench or machine, an edge, a failure.
MINUTE_MINOR = 100
EDGE_MINOR = 400
PRESET_MINUTES = 12.0
SWAP_MINUTES = 3.0
FAILURE_MINOR = 15_000


@dataclass(frozen=True, slots=True)
class Basis:
    """What a forecast stands on.

    Attributes:
        key: Name of the life law, for ``/v1/life/KEY``.
        worn: Lives of the key that ended by wear.
        broken: Lives that ended by breakage.
        taken_out_early: Lives that were cut short (censored).
        prior: ``tool_life``, ``life_parts`` or ``starter``.
        wear_per_part: Wear units per part now.
        size_signal: Whether size corrections set the swap.
    """

    key: str
    worn: int
    broken: int
    taken_out_early: int
    prior: str
    wear_per_part: float
    size_signal: bool


@dataclass(frozen=True, slots=True)
class Forecast:
    """One mounted assembly; quantiles are None where no run ahead uses the station.

    ``parts_left`` and ``run_out_at`` at p05, p10, p50, p90: that share of like edges has given
    out by then. A forecast is a probability, not a promise.
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


@dataclass(slots=True)
class ShopPlan:
    """The whole plan of the shop at an instant.

    Attributes:
        view: What it was made from.
        model: The fitted life model.
        keys: Keys in the order of the model's rows.
        histories: The lives that it was fitted to.
        forecasts: One per mounted assembly, the most urgent first.
        nights: One per machine with an unattended stretch ahead.
        aside: Lives that were not believed.
        edges: Inputs per mounted edge with a plan, for deeper looks.
        plans: Station plans in the order of ``edges``.
        lines: Wear lines of their stations, likewise.
        listed: Swap lists made from it, by horizon [h].
    """

    view: ShopView
    model: LifeModel
    keys: list[Key]
    histories: LifeHistories
    forecasts: list[Forecast]
    nights: list[MachineNight]
    aside: list[SetAside]
    edges: list[MountedEdge]
    plans: list[StationPlan]
    lines: tuple[WearAhead, ...]
    listed: dict[float, Any] = field(default_factory=dict)


def forecast_shop(tx: Tx, now: datetime, *, night_limit: float = NIGHT_LIMIT) -> ShopPlan:
    """Forecast every mounted edge from the facts dated up to an instant.

    Args:
        tx: An open transaction.
        now: The instant.
        night_limit: Chance of a failure that a machine may run with while nobody is there.
    """
    view = view_shop(tx, now)
    keys, spreads, histories, ages = _lives(view)
    model = fit_life_model(_key_table(view, keys, spreads), histories)
    number = {key: index for index, key in enumerate(keys)}
    machine_ids = list(view.ahead)
    machines = [view.ahead[machine_id] for machine_id in machine_ids]
    place = {machine_id: index for index, machine_id in enumerate(machine_ids)}
    mounted: list[Stay] = []
    edges: list[MountedEdge] = []
    for stay in view.stays:
        if stay.row.end_us is None and stay.row.station_id in view.rows.stations:
            edge = _mounted_edge(view, stay, place, number, ages)
            if edge is not None:
                mounted.append(stay)
                edges.append(edge)
    due = edges_due(machines, edges, model)
    plans, nights = keep_the_night(
        machines, edges, due, plan_stations(machines, edges, due, model), model, night_limit
    )
    seen = model.basis(np.arange(len(keys)))
    forecasts = [
        _forecast(view, machines[edge.machine], stay, due, row, plans[row], seen, edge, keys)
        for row, (stay, edge) in enumerate(zip(mounted, edges, strict=True))
    ]
    planned = {stay.row.mount_id for stay in mounted}
    forecasts += [
        _unknown(view, stay)
        for stay in view.stays
        if stay.row.end_us is None
        and stay.row.mount_id not in planned
        and stay.row.station_id in view.rows.stations
    ]
    last = datetime.max.replace(tzinfo=now.tzinfo)
    forecasts.sort(
        key=lambda f: (f.swap_by or last, f.machine, f.path, f.tool_number, f.station)
    )
    return ShopPlan(
        view,
        model,
        keys,
        histories,
        forecasts,
        nights,
        model.aside,
        edges,
        plans,
        due.lines,
    )


def _lives(
    view: ShopView,
) -> tuple[list[Key], list[float], LifeHistories, dict[int, tuple[float, Key | None, float]]]:
    """Keys, their spreads, one history per ended edge, each assembly's (wear, key, parts)."""
    wear: dict[int, float] = {}
    parts: dict[int, int] = {}
    last: dict[int, Stay] = {}
    for stay in view.stays:
        assembly = stay.row.assembly_id
        wear[assembly] = wear.get(assembly, 0.0) + stay.wear
        parts[assembly] = parts.get(assembly, 0) + stay.parts
        if stay.key is not None or assembly not in last:
            last[assembly] = stay
    keys: dict[Key, int] = {}
    spreads: list[float] = []
    rows: list[tuple[int, float, float, int]] = []
    reasons = {stay.row.assembly_id: stay.row for stay in view.stays}
    for assembly, stay in last.items():
        if stay.key is None:
            continue
        index = keys.setdefault(stay.key, len(keys))
        if index == len(spreads):
            spreads.append(stay.spread)
        if wear[assembly] <= 0:
            continue
        row = reasons[assembly]
        torn_down = view.rows.assemblies[assembly].torn_down_us is not None
        if (row.end_us is None or row.reason in GOES_ON) and not torn_down:
            continue  # its forecast is conditioned on its age: as a life it would count twice
        spec = view.rows.specs[view.rows.assemblies[assembly].tool_spec_id]
        ended = ending(row.reason, row.flank_wear_tenths_um, spec.wear_limit_mm)
        rows.append((index, wear[assembly], float(parts[assembly]), ended))
    ages = {
        assembly: (wear[assembly], last[assembly].key, float(parts[assembly]))
        for assembly in last
    }
    _add_keys_ahead(view, keys, spreads)
    histories = life_histories(
        [row[0] for row in rows],
        [row[1] for row in rows],
        [row[2] for row in rows],
        [row[3] for row in rows],
    )
    return list(keys), spreads, histories, ages


def _add_keys_ahead(view: ShopView, keys: dict[Key, int], spreads: list[float]) -> None:
    """Keys of mounted edges that have cut nothing yet, or will cut another part next."""
    for stay in view.stays:
        if stay.row.end_us is not None or stay.row.station_id not in view.rows.stations:
            continue
        found = _key_ahead(view, stay)
        if found and found[0] not in keys:
            keys[found[0]] = len(keys)
            spreads.append(found[1])


def _key_ahead(view: ShopView, stay: Stay) -> tuple[Key, float, str] | None:
    station = view.rows.stations[stay.row.station_id]
    assembly = view.rows.assemblies[stay.row.assembly_id]
    for part_id in view.ahead_parts[station.machine_id]:
        take = view.cutting.per_part(
            station.id, part_id, assembly.tool_spec_id, assembly.cutting_item_id
        )
        if take:
            group = view.cutting.material_group(part_id)
            key = Key(assembly.cutting_item_id, group, take.operation_class)
            return key, take.spread, take.basis
    return None


def _key_table(view: ShopView, keys: list[Key], spreads: list[float]) -> KeyTable:
    def numbered(labels: list[Any]) -> list[int]:
        seen: dict[Any, int] = {}
        return [seen.setdefault(label, len(seen)) for label in labels]

    items = view.rows.items
    return key_table(
        [key.cutting_item_id for key in keys],
        numbered(
            [
                (items[k.cutting_item_id].tool_material, items[k.cutting_item_id].grade)
                for k in keys
            ]
        ),
        numbered([key.operation_class for key in keys]),
        numbered([key.material_group for key in keys]),
        0.0,
        spreads if spreads else 0.4,
    )


def _mounted_edge(
    view: ShopView,
    stay: Stay,
    place: dict[int, int],
    number: dict[Key, int],
    ages: dict[int, tuple[float, Key | None, float]],
) -> MountedEdge | None:
    station = view.rows.stations[stay.row.station_id]
    assembly = view.rows.assemblies[stay.row.assembly_id]
    found = _key_ahead(view, stay)
    key = found[0] if found else stay.key
    if key is None:
        return None
    per_part = []
    for part_id in view.ahead_parts[station.machine_id]:
        take = view.cutting.per_part(
            station.id, part_id, assembly.tool_spec_id, assembly.cutting_item_id
        )
        per_part.append(take.wear if take else 0.0)
    planned, failure = swap_costs(
        view.rows.specs[assembly.tool_spec_id], view.rows.items[assembly.cutting_item_id]
    )
    return MountedEdge(
        station.id,
        place[station.machine_id],
        number[key],
        ages[stay.row.assembly_id][0],
        tuple(per_part),
        planned,
        failure,
        _size_parts_left(view, stay),
    )


def swap_costs(spec: Any, item: Any) -> tuple[float, float]:
    """Cost of a planned swap and of a failure [hundredths of the currency].

    Planned: the edge's share of its item's price, bench and machine minutes. A failure costs
    the same and the spec's failure cost beside it.
    """
    edge = EDGE_MINOR if item.price_minor is None else item.price_minor / max(item.edges, 1)
    planned = (
        edge * (spec.items_per_tool or 1)
        + (spec.preset_minutes or PRESET_MINUTES) * MINUTE_MINOR
        + (spec.swap_minutes or SWAP_MINUTES) * MINUTE_MINOR
    )
    failure = FAILURE_MINOR if spec.failure_cost_minor is None else spec.failure_cost_minor
    return planned, planned + max(failure, 1)


def _size_parts_left(view: ShopView, stay: Stay) -> float | None:
    """Parts until the growth seen by size corrections reaches the wear limit's growth."""
    count, change = view.rows.size_corrections.get(stay.row.mount_id, (0, 0))
    station = view.rows.stations[stay.row.station_id]
    spec = view.rows.specs[view.rows.assemblies[stay.row.assembly_id].tool_spec_id]
    if count < 2 or not change or not stay.parts:
        return None
    if not spec.wear_limit_mm or not spec.clearance_deg:
        return None
    limit_mm = float(
        size_growth_mm(
            spec.wear_limit_mm, spec.clearance_deg, on_diameter=bool(station.x_on_diameter)
        )
    )
    grown_mm = abs(change) / 10_000
    return max(limit_mm - grown_mm, 0.0) * stay.parts / grown_mm


def _whole(value: float) -> int | None:
    return math.floor(value) if math.isfinite(value) else None


def _identity(view: ShopView, stay: Stay) -> dict[str, Any]:
    station = view.rows.stations[stay.row.station_id]
    assembly = view.rows.assemblies[stay.row.assembly_id]
    return {
        "station_id": station.id,
        "station_code": station.code,
        "machine": station.machine,
        "station": station.station,
        "tool_number": station.tool_number,
        "path": station.path or 1,
        "assembly": assembly.code,
        "tool_spec": view.rows.specs[assembly.tool_spec_id].tool_spec,
        "holder_id": assembly.holder_id,
        "mounted_at": instant(stay.row.begin_us),
        "parts_made": stay.parts,
        "engaged_min": stay.engaged_min,
    }


def _part_now(view: ShopView, station_id: int) -> str | None:
    machine_id = view.rows.stations[station_id].machine_id
    running = [run for run in view.rows.runs.get(machine_id, []) if run.state == "running"]
    return running[0].part if running else None


def _forecast(
    view: ShopView,
    machine: MachineAhead,
    stay: Stay,
    due: EdgesDue,
    row: int,
    plan: StationPlan,
    seen: LivesSeen,
    edge: MountedEdge,
    keys: list[Key],
) -> Forecast:
    names = ("p05", "p10", "p50", "p90")
    swap_us = machine.time.clock_at(plan.first.seconds)
    prior = _key_ahead(view, stay)
    return Forecast(
        **_identity(view, stay),
        part=_part_now(view, edge.station_id),
        share_used=edge.age,
        parts_left={name: _whole(due.parts_left[row, i]) for i, name in enumerate(names)},
        run_out_at={
            name: instant(int(due.run_out_us[row, i])) if due.run_out_us[row, i] >= 0 else None
            for i, name in enumerate(names)
        },
        fail_probability_shift=float(due.fail_shift[row]),
        fail_probability_unattended=(
            float(due.fail_dark[row]) if np.isfinite(due.dark_s[row, 0]) else None
        ),
        swap_after_parts=_whole(plan.parts),
        swap_by=instant(swap_us) if swap_us >= 0 else None,
        why=plan.first.why,
        why_sentence=plan.first.sentence,
        basis=Basis(
            keys[edge.key].text(view.rows.items),
            int(seen.worn[edge.key]),
            int(seen.broken[edge.key]),
            int(seen.censored[edge.key]),
            prior[2] if prior else stay.basis,
            next_wear(machine.segments, edge.per_part),
            plan.first.why == "size_limit",
        ),
    )


def _unknown(view: ShopView, stay: Stay) -> Forecast:
    nothing: dict[str, Any] = dict.fromkeys(("p05", "p10", "p50", "p90"))
    return Forecast(
        **_identity(view, stay),
        part=_part_now(view, stay.row.station_id),
        share_used=0.0,
        parts_left=dict(nothing),
        run_out_at=dict(nothing),
        fail_probability_shift=None,
        fail_probability_unattended=None,
        swap_after_parts=None,
        swap_by=None,
        why="not_known",
        why_sentence=(
            "No run of this machine uses the station, or its tool spec has neither cutting "
            "data nor life_parts: nothing can be said."
        ),
        basis=None,
    )
