"""Constants from the shop's own edges: estimated, and used where they are sure enough."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from crib.left_out import Kept, refuse_no_number, worked_out
from crib.life.constants_own import OwnEstimate, estimate_from_own_lives
from crib.outlook.lives_by_cut import lives_by_cut
from crib.outlook.shop_now import ShopNow
from crib.planning.part_wear import Curve
from crib.sentence import sentence

#: Spread of 1/n before any life was seen: a shop's own constants are better known than the
#: starter table's (common practice, no source).
EXPONENT_SPREAD: Final = {"tool_life": 0.3, "starter": 0.4}

OWN_LIVES: Final = "own_lives"


@dataclass(frozen=True, slots=True)
class ItemEstimate:
    """Constants of one cutting item on one group of material.

    Attributes:
        cutting_item_id: The item.
        material_group: ISO 513 group.
        in_force: The constants that hold without an estimate.
        estimate: What the shop's own edges say.
        mixed: Edges left out that came out: no curve gave their wear, or they wore on other
            groups or at other speeds too.
    """

    cutting_item_id: int
    material_group: str
    in_force: Curve
    estimate: OwnEstimate
    mixed: int


def refine_view(shop: ShopNow) -> ShopNow:
    """Estimate the constants of every item and group, and reckon with those that are sure.

    Only exponents are taken over: the level stays as it was at the cut at which the edges
    usually ran, since the life model learns it. Where anything is taken over, every stay is
    worked out again, so that lives at different speeds fall on one line.

    Args:
        shop: The shop; not changed.

    Returns:
        The shop with its ``estimates``, and with other ``stays`` where anything was taken over.
    """
    found = estimate_items(shop)
    shop = replace(shop.telling(found.problems), estimates=tuple(found))
    adopted = {
        (one.cutting_item_id, one.material_group): curve
        for one in found
        if (curve := _curve(one)) is not None
    }
    if adopted:
        shop = replace(shop, cutting=shop.cutting.adopting(adopted))
        shop = replace(shop, stays=shop.work_out(shop.rows.stays))
    return shop


def estimate_items(shop: ShopNow) -> Kept[ItemEstimate]:
    """What the edges so far say of each item on each group, in order of their names.

    Where that cannot be estimated the constants in force stay, and ``problems`` says so.
    """
    items = shop.rows.items
    every = worked_out(
        [shop],
        lives_by_cut,
        lambda _: sentence(
            "Constants could not be estimated from the shop's own edges; the "
            "constants in force are used. The service's log names the fault."
        ),
    )
    lives = every[0] if every else {}

    def estimate(of: tuple[int, str]) -> ItemEstimate | None:
        curve = shop.cutting.curve_in_force(*of)
        if curve is None:
            return None
        own, mixed = lives[of]
        found = estimate_from_own_lives(
            own, curve.constants, exponent_spread=EXPONENT_SPREAD[curve.basis]
        )
        refuse_no_number(found.constants)
        return ItemEstimate(*of, curve, found, mixed)

    told = worked_out(
        lives,
        estimate,
        lambda of: sentence(
            "Constants of item {cutting_item} on material group {of} could not be "
            "estimated from the shop's own edges; the constants in force are used. "
            "Check the tool-life row of the item. The service log has the details.",
            cutting_item=items[of[0]].cutting_item,
            of=of[1],
        ),
    )
    found: Kept[ItemEstimate] = Kept(one for one in told if one is not None)
    found.problems = (*every.problems, *told.problems)
    found.sort(key=lambda one: (items[one.cutting_item_id].cutting_item, one.material_group))
    return found


def _curve(one: ItemEstimate) -> Curve | None:
    """The curve to reckon with instead of the one in force; None where that stays."""
    estimate = one.estimate
    if not estimate.used or estimate.constants is None:
        return None
    return Curve(
        estimate.constants,
        sentence(
            "exponents from {ended} of the shop's own lives; level: {source}",
            ended=estimate.ended,
            source=one.in_force.source,
        ),
        OWN_LIVES,
        one.in_force.spread,
        estimate.doubt,
        estimate.holds,
    )
