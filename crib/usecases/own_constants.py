"""Constants from the shop's own edges: estimated, and used where they are sure enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from crib.floor.timeline import us_of
from crib.life.constants_own import OwnEstimate, OwnLives, estimate_from_own_lives
from crib.life.observations import WORN
from crib.planning.part_wear import Curve
from crib.store.shop_rows import StayRow
from crib.usecases.shop_view import GOES_ON, ShopView, ending
from crib.usecases.stays import Key, Stay, WornSums, work_out_stays

#: Share of an edge's wear that has to come from one item on one group, told by a curve.
_MOSTLY: Final = 0.9

#: Spread of ln speed within one edge's life up to which its mean stands for all of it.
_ONE_CUT: Final = 0.25

#: Spread of 1/n before any life was seen: a shop's own constants are better known than the
#: starter table's (common practice, no source).
_EXPONENT_SPREAD: Final = {"tool_life": 0.3, "starter": 0.4}

OWN_LIVES: Final = "own_lives"


@dataclass(frozen=True, slots=True)
class ItemEstimate:
    """Constants of one cutting item on one group of material.

    Attributes:
        cutting_item_id: The item.
        material_group: ISO 513 group.
        in_force: The constants that hold without an estimate.
        estimate: What the shop's own edges say.
        mixed: Edges left out that came out: no curve told their wear, or they wore on other
            groups or at other speeds too.
    """

    cutting_item_id: int
    material_group: str
    in_force: Curve
    estimate: OwnEstimate
    mixed: int


@dataclass(slots=True)
class _Edge:
    """The stays of one edge added up; ``last`` that cut, ``out`` how it came out."""

    last: Stay
    out: StayRow
    wear: float = 0.0
    told: WornSums = field(default_factory=lambda: WornSums(0.0, 0.0, 0.0, 0.0, 0.0))
    kinds: int = 0


def refine_view(view: ShopView) -> ShopView:
    """Estimate the constants of every item and group, and reckon with those that are sure.

    Only exponents are taken over: the level stays as it was at the cut at which the edges
    usually ran, since the life model learns it. Where anything is taken over, every stay is
    worked out again, so that lives at different speeds fall on one line.

    Args:
        view: The shop; its ``estimates`` are filled in, and its ``stays`` may be replaced.
    """
    view.estimates = estimate_items(view)
    adopted = {
        (one.cutting_item_id, one.material_group): curve
        for one in view.estimates
        if (curve := _curve(one)) is not None
    }
    if adopted:
        view.cutting.adopt(adopted)
        began = {
            machine_id: sorted(
                (run for run in view.rows.runs.get(machine_id, []) if run.state != "planned"),
                key=lambda run: run.start_at or 0,
            )
            for machine_id in view.rows.machines
        }
        view.stays = work_out_stays(
            view.rows, view.cutting, view.outputs, began, us_of(view.now)
        )
    return view


def estimate_items(view: ShopView) -> list[ItemEstimate]:
    """What the edges so far say of each item on each group, in order of their names."""
    edges: dict[tuple[int, str], list[_Edge]] = {
        stay.key[:2]: [] for stay in view.stays if stay.key
    }
    for edge in _edges(view).values():
        if edge.last.key is not None:
            edges[edge.last.key[:2]].append(edge)
    found = []
    for (item_id, group), group_edges in edges.items():
        curve = view.cutting.curve_in_force(item_id, group)
        if curve is not None:
            found.append(_estimate(view, item_id, group, curve, group_edges))
    items = view.rows.items
    return sorted(
        found, key=lambda one: (items[one.cutting_item_id].cutting_item, one.material_group)
    )


def _edges(view: ShopView) -> dict[int, _Edge]:
    """Edges that are over by assembly; ``kinds`` counts changes of item or group."""
    out = {stay.row.assembly_id: stay.row for stay in view.stays}
    edges: dict[int, _Edge] = {}
    for stay in view.stays:
        row = out[stay.row.assembly_id]
        if not _is_over(view, row):
            continue
        edge = edges.setdefault(row.assembly_id, _Edge(stay, row))
        edge.wear += stay.wear
        before = edge.last.key
        if stay.key:
            edge.kinds += bool(before and stay.key[:2] != before[:2])
            edge.last = stay
        if stay.worn:
            edge.told = WornSums(*(a + b for a, b in zip(edge.told, stay.worn, strict=True)))
    return edges


def _is_over(view: ShopView, row: StayRow) -> bool:
    if row.end_us is not None and row.reason not in GOES_ON:
        return True
    return view.rows.assemblies[row.assembly_id].torn_down_us is not None


def _estimate(
    view: ShopView, item_id: int, group: str, curve: Curve, edges: Sequence[_Edge]
) -> ItemEstimate:
    """The estimate from the edges that ended, at cuts that their means stand for."""
    rows: list[tuple[float, bool, tuple[float, float, float], int, Key]] = []
    mixed = 0
    for edge in edges:
        row, key = edge.out, edge.last.key
        if key is None or edge.wear <= 0:
            continue
        told = edge.told
        if edge.kinds or told.wear < _MOSTLY * edge.wear:
            mixed += 1
            continue
        speed, feed, depth, square = (value / told.wear for value in told[1:])
        if square - speed**2 > _ONE_CUT**2:
            mixed += 1
            continue
        limit_mm = view.rows.specs[
            view.rows.assemblies[row.assembly_id].tool_spec_id
        ].wear_limit_mm
        worn = ending(row.reason, row.flank_wear_tenths_um, limit_mm) == WORN
        rows.append((edge.wear, worn, (speed, feed, depth), edge.last.part_id or 0, key))
    classes: dict[str, int] = {}
    lives = OwnLives(
        np.array([row[0] for row in rows]),
        np.array([row[1] for row in rows], dtype=bool),
        np.array([row[2] for row in rows]).reshape(-1, 3),
        np.array([row[3] for row in rows], dtype=np.int64),
        np.array(
            [classes.setdefault(row[4].operation_class, len(classes)) for row in rows],
            dtype=np.int64,
        ),
    )
    spread = _EXPONENT_SPREAD[curve.basis]
    estimate = estimate_from_own_lives(lives, curve.constants, exponent_spread=spread)
    return ItemEstimate(item_id, group, curve, estimate, mixed)


def _curve(one: ItemEstimate) -> Curve | None:
    """The curve to reckon with instead of the one in force; None where that stays."""
    estimate = one.estimate
    if not estimate.used or estimate.constants is None:
        return None
    return Curve(
        estimate.constants,
        f"exponents from {estimate.ended} of the shop's own lives; level: "
        f"{one.in_force.source}",
        OWN_LIVES,
        one.in_force.spread,
        estimate.doubt,
        estimate.holds,
    )
