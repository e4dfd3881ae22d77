"""Keys of the life model by the names that forecasts give them."""

from __future__ import annotations

from crib.errors import NotKnown
from crib.outlook.shop_plan import ShopPlan
from crib.sentence import sentence


def key_names(plan: ShopPlan) -> list[str]:
    """Names of all life laws, in order."""
    return sorted(key.text(plan.shop.rows.items) for key in plan.keys)


def row_of_key(plan: ShopPlan, name: str) -> int:
    """Row of the key that forecasts name so.

    Args:
        plan: The shop's plan.
        name: ``ITEM~GROUP~OPERATION`` as forecasts give it.

    Raises:
        NotKnown: No edge of that key was ever mounted.
    """
    items = plan.shop.rows.items
    row = next((row for row, key in enumerate(plan.keys) if key.text(items) == name), None)
    if row is None:
        raise NotKnown(
            sentence(
                "No edge was ever mounted under '{name}'. The list of lives has all names.",
                name=name[:80],
            ),
            facts={"keys": key_names(plan)[:20]},
        )
    return row
