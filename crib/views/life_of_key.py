"""One life law: the lives seen, the curve with its band, and today's swap point."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from crib.left_out import worked_out
from crib.outlook.mounted_edges import swap_costs
from crib.outlook.shop_plan import ShopPlan
from crib.sentence import sentence
from crib.views.fit_words import FitSeen, fits_of
from crib.views.keys_by_name import row_of_key
from crib.views.lives_seen import LifeSeen, lives_of_key
from crib.views.stands_on import StandsOn, stands_on


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Chance of a new edge to live to an age."""

    age: float
    survival: float


@dataclass(frozen=True, slots=True)
class KeyLife:
    """What is known of a key.

    Attributes:
        key: Its name.
        cutting_item: The item.
        material_group: ISO 513 group.
        operation_class: What it does.
        counts: Lives by ending.
        life_p10: Age that 10 % of new edges do not reach.
        life_p50: The median.
        life_p90: Age that 10 % reach.
        swap_age: Age of least cost, for the first spec that uses the item.
        failing_first: Share failing before it.
        curve: Survival of a new edge.
        lives: Lives seen.
        removal_reasons: How often edges came out for which reason.
        fit: How well the lives fit the curve; null where that could not be worked out.
        stands_on: Since when lives count, and which boxes differ.
        problems: What could not be worked out, and what to do.
    """

    key: str
    cutting_item: str
    material_group: str
    operation_class: str
    counts: dict[str, int]
    life_p10: float
    life_p50: float
    life_p90: float
    swap_age: float | None
    failing_first: float | None
    curve: tuple[CurvePoint, ...]
    lives: tuple[LifeSeen, ...]
    removal_reasons: dict[str, int]
    fit: FitSeen | None
    stands_on: StandsOn
    problems: tuple[str, ...] = ()


def life_of_key(plan: ShopPlan, name: str) -> KeyLife:
    """Everything known of one life law.

    Args:
        plan: The shop's plan.
        name: ``ITEM~GROUP~OPERATION`` as forecasts give it.

    Raises:
        NotKnown: No edge of that key was ever mounted.
    """
    index = row_of_key(plan, name)
    key = plan.keys[index]
    seen = plan.model.basis(np.array([index]))
    rate, edge = _use(plan, index)
    swaps = worked_out(
        [] if edge is None else [edge],
        lambda edge: _swap_age(plan, index, rate, edge),
        lambda _: no_swap_point(name),
    )
    swap = swaps[0] if swaps else _SwapAge(None, None)
    fits = fits_of(plan, index, None if edge is None else rate, name)
    until = float(seen.life_p90[0]) * 1.6
    grid = np.linspace(0.0, until, 41)
    survival = plan.model.survival(
        np.full(grid.size, index), np.zeros(grid.size), grid, np.full(grid.size, rate)
    )
    return KeyLife(
        key=name,
        cutting_item=plan.shop.rows.items[key.cutting_item_id].cutting_item,
        material_group=key.material_group,
        operation_class=key.operation_class,
        counts={
            "worn": int(seen.worn[0]),
            "broken": int(seen.broken[0]),
            "taken_out_early": int(seen.censored[0]),
        },
        life_p10=float(seen.life_p10[0]),
        life_p50=float(seen.life_p50[0]),
        life_p90=float(seen.life_p90[0]),
        swap_age=swap.age,
        failing_first=swap.failing_first,
        curve=tuple(
            CurvePoint(float(a), float(s)) for a, s in zip(grid, survival, strict=True)
        ),
        lives=lives_of_key(plan, index),
        removal_reasons=dict(
            Counter(
                stay.row.reason
                for stay in plan.shop.stays
                if stay.key == key and stay.row.reason
            )
        ),
        fit=next(iter(fits), None),
        stands_on=stands_on(plan, index, rate),
        problems=(*swaps.problems, *fits.problems),
    )


def no_life(name: str) -> str:
    """What to say where a key cannot be worked out."""
    return sentence(
        "The lives of {name} could not be worked out. Check the "
        "records of its cutting item and tool specs. The service log has the "
        "details.",
        name=name[:80],
    )


def no_swap_point(name: str) -> str:
    """What to say where the swap point of a key cannot be worked out."""
    return sentence(
        "The swap point of {name} could not be worked out. Check the "
        "costs of its tool specs and its cutting item. The service log has the "
        "details.",
        name=name,
    )


@dataclass(frozen=True, slots=True)
class _SwapAge:
    age: float | None
    failing_first: float | None


def _swap_age(plan: ShopPlan, index: int, rate: float, assembly_id: int) -> _SwapAge:
    rows = plan.shop.rows
    built = rows.assemblies[assembly_id]
    costs = swap_costs(rows.specs[built.tool_spec_id], rows.items[built.cutting_item_id])
    ages, _, shares = plan.model.swap_age(
        np.array([index]), np.array([costs[0]]), np.array([costs[1]]), np.array([rate])
    )
    return _SwapAge(float(ages[0]), float(shares[0]))


def _use(plan: ShopPlan, index: int) -> tuple[float, int | None]:
    """Wear per part of the key's latest use, and the assembly whose use it was."""
    key = plan.keys[index]
    for stay in reversed(plan.shop.stays):
        if stay.key == key and stay.parts and stay.wear > 0:
            return stay.wear / stay.parts, stay.row.assembly_id
    return 1e-3, None
