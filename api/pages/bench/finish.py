"""What is left once a tool is measured: how its label stands, and where it will wait."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flask import request

from api.http.site import Site
from api.rest.paper import USUAL_STOCK
from crib.acts.named import named_assembly
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import SwapRow
from crib.store.engine import Tx
from crib.store.label_prints import PrintRow, prints_of_label
from crib.store.rack_rows import PlaceRow, place_of
from labels.media import load_stocks

#: Cookie with the label stock that this bench printed on last.
STOCK_COOKIE = "crib_stock"


@dataclass(frozen=True, slots=True)
class Finish:
    """A measured tool's label and place.

    Attributes:
        stocks: Names of the label stocks.
        stock: The one chosen, else the one printed on last.
        prints: Prints of the label as it is now, the first first.
        queue: Print queue of the site, if it has one.
        place: Where it stands in a rack; None where nobody said.
        machines: Names of the machines.
        swap: The swap that it is the sister for, if there is one.
    """

    stocks: Sequence[str]
    stock: str
    prints: Sequence[PrintRow]
    queue: str | None
    place: PlaceRow | None
    machines: Sequence[str]
    swap: SwapRow | None


def finish_of(tx: Tx, site: Site, plan: ShopPlan, code: str) -> Finish:
    """How label and place of a tool stand."""
    assembly = named_assembly(tx, code).row
    stocks = sorted(load_stocks(site.settings.stocks_file))
    asked = request.values.get("stock") or request.cookies.get(STOCK_COOKIE, "")
    swaps = [row for row in make_swap_list(plan).rows if row.sister.assembly == assembly.code]
    return Finish(
        stocks,
        asked if asked in stocks else _usual(stocks),
        prints_of_label(tx, assembly.code, assembly.preset_id),
        site.settings.print_queue,
        place_of(tx, assembly.id),
        sorted(str(one.machine) for one in plan.shop.rows.machines.values()),
        swaps[0] if swaps else None,
    )


def _usual(stocks: Sequence[str]) -> str:
    return USUAL_STOCK if USUAL_STOCK in stocks else stocks[0]
