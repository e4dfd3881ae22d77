"""What to order: edges that the swaps ahead will use against edges in stock."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta

from crib.left_out import Kept, each
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.planning.reorder import ReorderRow, StockItem, daily_demand, reorder_list
from crib.sentence import sentence
from crib.store.shop_records import ItemOfShop

#: Days of swaps ahead that the demand is taken from.
DEMAND_DAYS = 14


def reorder_items(plan: ShopPlan) -> Kept[ReorderRow]:
    """Items to order, the one that runs out first on top.

    Demand is the next two weeks of planned swaps, each charged to the item its sister is built
    from, or to the spec's first item where nothing is in stock.

    Args:
        plan: The shop's plan.
    """
    shop = plan.shop
    listed = make_swap_list(plan, DEMAND_DAYS * 24)
    days: dict[str, list[float]] = defaultdict(list)
    edges: dict[str, list[int]] = defaultdict(list)
    specs = {spec.tool_spec: spec for spec in shop.rows.specs.values()}
    for row in listed.rows:
        spec = specs[row.tool_spec]
        choices = shop.rows.spec_items.get(spec.id, ())
        item = row.sister.cutting_item or (choices[0] if choices else None)
        if item is None or row.removal or row.sister.state in ("ready", "measure"):
            continue  # no edge is needed, or it is built in already
        days[item].append((row.swap_by - shop.now) / timedelta(days=1))
        edges[item].append(spec.items_per_tool or 1)
    left: dict[str, int] = defaultdict(int)
    for lot in plan.shelf.lots:
        left[lot.cutting_item] += lot.edges_left
    found: list[ReorderRow] = []

    def work_out(item: ItemOfShop) -> None:
        stock = StockItem(
            item.cutting_item,
            left[item.cutting_item],
            daily_demand(days[item.cutting_item], edges[item.cutting_item], DEMAND_DAYS),
            edges_per_piece=item.edges or 1,
            lead_days=item.lead_days,
            min_stock=item.min_stock or 0,
            pack_size=item.pack_size or 1,
            price_minor=item.price_minor,
        )
        found.extend(reorder_list([stock], shop.now, ahead_days=1.0))

    failed = each(
        shop.rows.items.values(),
        work_out,
        lambda item: sentence(
            "What to order of item {cutting_item} could not be worked out. Count "
            "what is there, and check its record.",
            cutting_item=item.cutting_item,
        ),
    )
    last = datetime.max.replace(tzinfo=shop.now.tzinfo)
    in_order = sorted(found, key=lambda row: (row.runs_out_at or last, row.cutting_item))
    listed_rows = Kept(in_order)
    listed_rows.problems = tuple(failed)
    return listed_rows
