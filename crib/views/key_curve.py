"""One tool key to be drawn: lives, curve with its band, swap point and what others cost."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from crib.clock import instant_from_us
from crib.left_out import worked_out
from crib.life.curve_band import break_rate, cost_curve, survival_band
from crib.life.fit import SurvivalStep, kaplan_meier
from crib.life.observations import CENSORED
from crib.outlook.shop_now import ShopNow
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.to_put_right import ToPutRight
from crib.outlook.widen_forecasts import Distrust, distrusted
from crib.sentence import sentence
from crib.store.machine_rows import StayRow
from crib.views.fit_words import FitSeen, fits_of
from crib.views.key_uses import KeyUse, asked_of_key, key_uses
from crib.views.keys_by_name import row_of_key
from crib.views.life_of_key import no_swap_point
from crib.views.lives_seen import LifeSeen, lives_of_key
from crib.views.stands_on import StandsOn, stands_on

#: What the band holds: the middle of what may be so.
BAND: Final = 0.8

#: Swaps that cost at most so much more than the planned one count as no dearer.
HARDLY_MORE: Final = 0.02

_NODES: Final = 49


@dataclass(frozen=True, slots=True)
class LifeMark:
    """One edge: how far it got [wear units], and worn, broken, taken_out_early or running."""

    age: float
    ended: str
    doubted: bool = False


@dataclass(frozen=True, slots=True)
class CurveNode:
    """Chance of a new edge to reach an age, and its band."""

    age: float
    survival: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CostNode:
    """What a swap at an age costs per wear unit [hundredths of the currency]."""

    age: float
    rate: float


@dataclass(frozen=True, slots=True)
class SwapPoint:
    """Today's swap point of a key.

    Attributes:
        age: Where a new edge comes out [wear units].
        failing_first: Share of edges that fail before.
        rate: Cost per wear unit there [hundredths of the currency].
        flat_from: Least age that costs at most ``HARDLY_MORE`` more.
        flat_to: Greatest one.
        cheaper_later: Whether the curve's own least lies later: no edge was ever seen worn,
            so the age only creeps.
        planned: Cost of a planned swap [hundredths].
        failure: Cost of a failure [hundredths].
        costs: The curve.
    """

    age: float
    failing_first: float
    rate: float
    flat_from: float
    flat_to: float
    cheaper_later: bool
    planned: float
    failure: float
    costs: tuple[CostNode, ...]


@dataclass(frozen=True, slots=True)
class RemovalSeen:
    """One removal of an edge of the key.

    Attributes:
        at: When.
        machine: Where from; None where the station was taken away since.
        station: Its station; None in the same case.
        assembly: Code of the assembly.
        reason: As recorded.
        failed: Whether it ended the life by wear or breakage.
        parts: Parts that the edge had made in all its stays up to then.
        age: Its wear up to then [wear units].
        early: Failed before today's swap point.
    """

    at: datetime
    machine: str | None
    station: str | None
    assembly: str
    reason: str
    failed: bool
    parts: int
    age: float
    early: bool


@dataclass(frozen=True, slots=True)
class ReasonCount:
    """Removals of one reason: all, and failures before today's swap point."""

    reason: str
    removals: int
    early: int


@dataclass(frozen=True, slots=True)
class KeyCurve:
    """All that is drawn of a key; ages are in wear units.

    Attributes:
        key: Its name.
        cutting_item: The item.
        material_group: ISO 513 group.
        operation_class: What it does.
        use: Where it is used.
        life_p10: Wear-out life that 10 % of new edges do not reach.
        life_p50: Its median.
        life_p90: Life that 10 % reach.
        promised: Life that constants or experience promise.
        shape: Shape of the law.
        scale: Its scale.
        break_rate: Breaks per wear unit.
        lives: Every edge that the forecast counts, in the order in which they ended, then those
            running.
        seen: Every life that is over, the least believed first, then the latest.
        steps: Share alive by the lives alone (Kaplan and Meier).
        curve: The forecast's curve with its band.
        swap: Today's swap point; None where no costs are known.
        removals: The removals behind it, the latest first.
        reasons: The same counted, the most frequent first.
        distrust: Set where its forecasts ran wrong.
        fit: How well its lives fit the curve; None where that could not be worked out.
        stands_on: Since when lives count, and which boxes differ.
        asked: What is asked of its mounted edges.
        problems: What could not be worked out, and what to do.
    """

    key: str
    cutting_item: str
    material_group: str
    operation_class: str
    use: KeyUse
    life_p10: float
    life_p50: float
    life_p90: float
    promised: float
    shape: float
    scale: float
    break_rate: float
    lives: tuple[LifeMark, ...]
    seen: tuple[LifeSeen, ...]
    steps: tuple[SurvivalStep, ...]
    curve: tuple[CurveNode, ...]
    swap: SwapPoint | None
    removals: tuple[RemovalSeen, ...]
    reasons: tuple[ReasonCount, ...]
    distrust: Distrust | None
    fit: FitSeen | None
    stands_on: StandsOn
    asked: tuple[ToPutRight, ...] = ()
    problems: tuple[str, ...] = ()


def curve_of_key(plan: ShopPlan, name: str) -> KeyCurve:
    """Everything that is drawn of one key.

    Args:
        plan: The shop's plan.
        name: ``ITEM~GROUP~OPERATION`` as forecasts give it.

    Raises:
        NotKnown: No edge of that key was ever mounted.
    """
    row = row_of_key(plan, name)
    key, use = plan.keys[row], key_uses(plan)[0][row]
    seen = plan.model.basis(np.array([row]))
    shape, scale = (float(one[0]) for one in plan.model.law(np.array([row])))
    rate = use.wear_per_part or 1e-3
    seen_lives = lives_of_key(plan, row)
    lives = _marks(seen_lives, use)
    oldest = max((one.age for one in lives), default=0.0)
    until = max(1.3 * float(seen.life_p90[0]), 1.05 * oldest)
    swaps = worked_out(
        [row] if use.costs is not None and use.wear_per_part is not None else [],
        lambda row: _swap_point(plan, row, use, until),
        lambda _: no_swap_point(name),
    )
    swap = swaps[0] if swaps else None
    removals, without = _removals(plan, row, swap)
    fits = fits_of(plan, row, use.wear_per_part, name)
    return KeyCurve(
        name,
        plan.shop.rows.items[key.cutting_item_id].cutting_item,
        key.material_group,
        key.operation_class,
        use,
        float(seen.life_p10[0]),
        float(seen.life_p50[0]),
        float(seen.life_p90[0]),
        float(seen.promised[0]),
        shape,
        scale,
        break_rate(plan.model, row, rate),
        lives,
        _doubted_first(seen_lives),
        _steps(lives),
        _curve(plan, row, rate, until),
        swap,
        removals,
        _reasons(removals),
        next(iter(distrusted(plan.shop, [key], plan.model.widening[[row]])), None),
        next(iter(fits), None),
        stands_on(plan, row, rate),
        asked_of_key(plan, row),
        (*swaps.problems, *without, *fits.problems),
    )


def _marks(seen: tuple[LifeSeen, ...], use: KeyUse) -> tuple[LifeMark, ...]:
    over = [LifeMark(one.wear, one.ended, one.doubted) for one in seen if not one.left_out]
    return (*over, *(LifeMark(age, "running") for age in use.running if age > 0))


def _doubted_first(seen: tuple[LifeSeen, ...]) -> tuple[LifeSeen, ...]:
    latest = sorted(seen, key=lambda one: one.at, reverse=True)
    return tuple(sorted(latest, key=lambda one: one.believed if one.doubted else 1.0))


def _steps(lives: tuple[LifeMark, ...]) -> tuple[SurvivalStep, ...]:
    """Kaplan and Meier's steps; edges taken out early and running ones count to their age."""
    believed = [one for one in lives if np.isfinite(one.age) and one.age > 0]
    if not believed:
        return ()
    failed = [one.ended in ("worn", "broken") for one in believed]
    return tuple(kaplan_meier([one.age for one in believed], failed))


def _curve(plan: ShopPlan, row: int, rate: float, until: float) -> tuple[CurveNode, ...]:
    ages = np.linspace(0.0, until, _NODES)
    survival = plan.model.survival(row, 0.0, ages, rate)
    low, high = survival_band(plan.model, row, ages, rate, BAND)
    columns = (ages.tolist(), survival.tolist(), low.tolist(), high.tolist())
    return tuple(CurveNode(*node) for node in zip(*columns, strict=True))


def _swap_point(plan: ShopPlan, row: int, use: KeyUse, until: float) -> SwapPoint | None:
    if use.costs is None or use.wear_per_part is None:
        return None
    planned, failure = use.costs
    ages, _, shares = plan.model.swap_age(row, planned, failure, use.wear_per_part)
    age = float(ages)
    curve = cost_curve(plan.model, row, planned, failure, use.wear_per_part)
    flat_from, flat_to = curve.within(age, HARDLY_MORE)
    drawn = np.linspace(until / 60, until, 60)
    best = float(curve.ages[np.argmin(curve.rates)])
    return SwapPoint(
        age,
        float(shares),
        curve.at(age),
        flat_from,
        flat_to,
        best > 1.1 * age,
        planned,
        failure,
        tuple(CostNode(float(x), curve.at(float(x))) for x in drawn),
    )


def _removals(
    plan: ShopPlan, row: int, swap: SwapPoint | None
) -> tuple[tuple[RemovalSeen, ...], tuple[str, ...]]:
    """Ends of stays of the key; an edge's age counts all its stays before.

    Returns:
        The removals, and a sentence for each that could not be worked out.
    """
    shop, key = plan.shop, plan.keys[row]
    wear: dict[int, float] = {}
    parts: dict[int, int] = {}
    mine = []
    for stay in shop.stays:
        place = stay.row.assembly_id
        wear[place] = wear.get(place, 0.0) + stay.wear
        parts[place] = parts.get(place, 0) + stay.parts
        if stay.key == key and stay.row.end_us is not None and stay.row.reason:
            mine.append((stay.row, parts[place], wear[place]))

    def seen(one: tuple[StayRow, int, float]) -> RemovalSeen:
        return _removal(shop, *one, None if swap is None else swap.age)

    found = worked_out(mine, seen, lambda one: _no_removal(shop, one[0]))
    return tuple(sorted(found, key=lambda one: one.at, reverse=True)), found.problems


def _removal(
    shop: ShopNow, row: StayRow, parts: int, wear: float, swap_age: float | None
) -> RemovalSeen:
    station = shop.rows.stations.get(row.station_id)
    failed = shop.ending(row) != CENSORED
    return RemovalSeen(
        instant_from_us(row.end_us or 0),
        station.machine if station else None,
        station.station if station else None,
        shop.rows.assemblies[row.assembly_id].code,
        row.reason or "",
        failed,
        parts,
        wear,
        failed and swap_age is not None and wear < swap_age,
    )


def _no_removal(shop: ShopNow, row: StayRow) -> str:
    built = shop.rows.assemblies.get(row.assembly_id)
    tool = built.code if built else row.assembly_id
    return sentence(
        "A removal of tool {tool} could not be worked out, so it is not "
        "listed. Check its mount, its removal and the counts between them. The "
        "service log has the details.",
        tool=tool,
    )


def _reasons(removals: tuple[RemovalSeen, ...]) -> tuple[ReasonCount, ...]:
    every = Counter(one.reason for one in removals)
    early = Counter(one.reason for one in removals if one.early)
    return tuple(ReasonCount(name, count, early[name]) for name, count in every.most_common())
