"""Tool keys with where they are used: machines, specs, the part they cut now, costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from crib.left_out import Kept, at_once, each, worked_out
from crib.outlook.mounted_edges import swap_costs
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.stays import Stay
from crib.outlook.to_put_right import ToPutRight
from crib.outlook.widen_forecasts import Distrust, distrusted
from crib.sentence import sentence
from crib.store.shop_records import SpecOfShop
from crib.views.life_of_key import no_life, no_swap_point


@dataclass(frozen=True, slots=True)
class KeyUse:
    """Where a key is used, and what a part takes from its edges.

    Attributes:
        machines: Machines whose edges ran or run under it.
        specs: Tool specs of these edges.
        running: Wear of the edges in the machines now [wear units].
        part: Part that they cut now, or cut last; None where nothing is known.
        wear_per_part: Wear units that one costs; None in the same case.
        costs: Of a planned swap and of a failure [hundredths of the currency]; None as above.
    """

    machines: tuple[str, ...] = ()
    specs: tuple[str, ...] = ()
    running: tuple[float, ...] = ()
    part: str | None = None
    wear_per_part: float | None = None
    costs: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class KeyListed:
    """One key in the list.

    Attributes:
        key: Its name.
        cutting_item: The item.
        material_group: ISO 513 group.
        operation_class: What it does.
        worn: Lives ended by wear.
        broken: Lives ended by breakage.
        taken_out_early: Lives cut short.
        over: Lives that are over, believed or not.
        doubted: Those whose record may well be wrong.
        use: Where it is used.
        swap_age: Age of least cost [wear units]; None where its costs are not known.
        swap_parts: The same in parts of ``use.part``.
        distrust: Set where its forecasts ran wrong.
    """

    key: str
    cutting_item: str
    material_group: str
    operation_class: str
    worn: int
    broken: int
    taken_out_early: int
    over: int
    doubted: int
    use: KeyUse
    swap_age: float | None
    swap_parts: float | None
    distrust: Distrust | None


@dataclass(slots=True)
class _Gathered:
    machines: set[str] = field(default_factory=set)
    specs: set[str] = field(default_factory=set)
    running: list[float] = field(default_factory=list)
    use: KeyUse = field(default_factory=KeyUse)


def list_keys(plan: ShopPlan, machine: str = "", spec: str = "") -> Kept[KeyListed]:
    """Keys of the shop in order of their names; what fails of one is named in ``problems``.

    Args:
        plan: The shop's plan.
        machine: Only those used on it; empty: all.
        spec: Only those used by this tool spec; empty: all.
    """
    uses, not_costed = key_uses(plan)
    swaps, without = at_once(
        range(len(uses)),
        lambda rows: swap_ages(plan, uses, rows),
        lambda row: no_swap_point(plan.keys[row].text(plan.shop.rows.items)),
    )
    seen = plan.model.basis(np.arange(len(uses)))
    of_key, keys = plan.histories.key_index, len(uses)
    over = np.bincount(of_key, minlength=keys)
    doubted = np.bincount(of_key[plan.model.doubts().doubted], minlength=keys)
    items = plan.shop.rows.items
    names = [key.text(items) for key in plan.keys]
    wrong = {one.key: one for one in distrusted(plan.shop, plan.keys, plan.model.widening)}

    def listed(row: int) -> KeyListed:
        key, use = plan.keys[row], uses[row]
        return KeyListed(
            names[row],
            items[key.cutting_item_id].cutting_item,
            key.material_group,
            key.operation_class,
            int(seen.worn[row]),
            int(seen.broken[row]),
            int(seen.censored[row]),
            int(over[row]),
            int(doubted[row]),
            use,
            swaps.get(row),
            _in_parts(swaps.get(row), use),
            wrong.get(names[row]),
        )

    found = worked_out(
        [
            row
            for row, use in enumerate(uses)
            # an empty station has the key of the edge to come, which may never have cut
            if use.machines
            and (not machine or machine in use.machines)
            and (not spec or spec in use.specs)
        ],
        listed,
        lambda row: no_life(names[row]),
    )
    found.problems = (*not_costed, *without, *found.problems)
    found.sort(key=lambda one: one.key)
    return found


def key_uses(plan: ShopPlan) -> tuple[list[KeyUse], tuple[str, ...]]:
    """Use of each key, in the order of ``plan.keys``: of edges in a machine, else the last.

    Returns:
        The uses, and a sentence for each tool spec whose use could not be worked out.
    """
    shop = plan.shop
    number = {key: row for row, key in enumerate(plan.keys)}
    found = [_Gathered() for _ in plan.keys]
    parts = {run.part_id: run.part for runs in shop.rows.runs.values() for run in runs}

    def spec_of(stay: Stay) -> SpecOfShop:
        return shop.rows.specs[shop.rows.assemblies[stay.row.assembly_id].tool_spec_id]

    def use(stay: Stay) -> None:
        station = shop.rows.stations.get(stay.row.station_id)
        row = number.get(stay.key) if stay.key is not None else None
        if row is None or station is None:
            return
        built, spec = shop.rows.assemblies[stay.row.assembly_id], spec_of(stay)
        found[row].machines.add(station.machine)
        found[row].specs.add(spec.tool_spec)
        if stay.parts and stay.wear > 0:
            found[row].use = KeyUse(
                part=parts.get(stay.part_id or -1),
                wear_per_part=stay.wear / stay.parts,
                costs=swap_costs(spec, shop.rows.items[built.cutting_item_id]),
            )

    without = each(
        shop.stays,
        use,
        lambda stay: sentence(
            "What edges of tool spec {tool_spec} cost could not be worked out. "
            "Check the prices and minutes of the spec and its items. The service "
            "log has the details.",
            tool_spec=spec_of(stay).tool_spec,
        ),
    )
    _add_mounted(plan, found, parts)
    uses = [
        replace(
            one.use,
            machines=tuple(sorted(one.machines)),
            specs=tuple(sorted(one.specs)),
            running=tuple(sorted(one.running)),
        )
        for one in found
    ]
    return uses, tuple(dict.fromkeys(without))


def _add_mounted(plan: ShopPlan, found: list[_Gathered], parts: Mapping[int, str]) -> None:
    shop = plan.shop
    for stay, edge in zip(plan.expected.mounted, plan.edges, strict=False):
        one = found[edge.key]
        station = shop.rows.stations[stay.row.station_id]
        built = shop.rows.assemblies[stay.row.assembly_id]
        one.machines.add(station.machine)
        one.specs.add(shop.rows.specs[built.tool_spec_id].tool_spec)
        one.running.append(edge.age)
        ahead = zip(shop.machines[station.machine_id].ahead_parts, edge.per_part, strict=False)
        for part_id, wear in ahead:
            if wear > 0:
                costs = edge.planned_cost, edge.failure_cost
                one.use = KeyUse(part=parts.get(part_id), wear_per_part=wear, costs=costs)
                break


def asked_of_key(plan: ShopPlan, row: int) -> tuple[ToPutRight, ...]:
    """What is asked of mounted edges of a key that are too old to be believed."""
    doubted = plan.expected.doubted
    return tuple(
        doubted[stay.row.mount_id]
        for stay, edge in zip(plan.expected.mounted, plan.edges, strict=False)
        if edge.key == row and stay.row.mount_id in doubted
    )


def swap_ages(plan: ShopPlan, uses: list[KeyUse], among: Sequence[int]) -> dict[int, float]:
    """Age of least cost of each of these keys with known costs, by its row [wear units]."""
    rows = [row for row in among if uses[row].costs and uses[row].wear_per_part]
    if not rows:
        return {}
    known = [uses[row] for row in rows]
    costs = np.array([use.costs for use in known])
    rates = np.array([use.wear_per_part for use in known])
    ages, _, _ = plan.model.swap_age(np.array(rows), costs[:, 0], costs[:, 1], rates)
    if not np.isfinite(ages).all():
        raise FloatingPointError("swap_age")
    return dict(zip(rows, ages.tolist(), strict=True))


def _in_parts(age: float | None, use: KeyUse) -> float | None:
    return age / use.wear_per_part if age is not None and use.wear_per_part else None
