"""The bench queue as a page: the next job first and large, the rest, what is blocked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.pages.acts import Complaint, go_to
from api.pages.bench.gauge_state import gauge_states
from api.pages.render import page
from api.rest.plan import bench_rows
from crib.codes import strip_address
from crib.errors import Refusal
from crib.outlook.swap_list import SwapList, SwapRow, blocked_rows, make_swap_list
from crib.views.bench_card import BenchCard, bench_cards
from crib.views.scan_code import scan_code
from crib.views.scan_shapes import Scan

blueprint = Blueprint("bench_queue", __name__)

#: Jobs that the page shows with what to take for each; the rest is counted.
MOST_JOBS = 40


@dataclass(frozen=True, slots=True)
class Job:
    """One job of the queue.

    Attributes:
        row: Its row, as ``bench_rows`` makes it.
        card: What to take.
        address: Where its work is started or resumed.
    """

    row: dict[str, Any]
    card: BenchCard
    address: str


@dataclass(frozen=True, slots=True)
class Queue:
    """The bench's work as it is now.

    Attributes:
        jobs: The first ones, in the order to do them.
        more: How many come after them.
        blocked: Swaps whose sister cannot be ready.
        ready: How many swaps have a sister that stands ready.
        forecasts: How many tools are mounted and forecast.
    """

    jobs: Sequence[Job]
    more: int
    blocked: Sequence[SwapRow]
    ready: int
    forecasts: int


def queue_now() -> Queue:
    """The queue of the present instant."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    found = make_swap_list(plan)
    rows = bench_rows(found)
    shown = rows[:MOST_JOBS]
    with site.store.read() as tx:
        cards = bench_cards(tx, found, {row["position"] for row in shown})
    return Queue(
        [Job(row, cards[row["position"]], _address(row, cards)) for row in shown],
        len(rows) - len(shown),
        _blocked(found),
        sum(row.sister.state == "ready" for row in found.rows),
        len(plan.forecasts),
    )


def _blocked(found: SwapList) -> list[SwapRow]:
    return [row for row in blocked_rows(found.rows) if row.sister.state == "blocked"]


def _address(row: dict[str, Any], cards: dict[int, BenchCard]) -> str:
    if row["assembly"] is not None:
        return f"/bench/work/{quote(row['assembly'])}"
    asked = {name: row[name] for name in ("tool_spec", "holder", "lot")}
    recipe = cards[row["position"]].recipe
    if recipe is not None:
        asked["edge"] = recipe.edge
    return f"/bench/build?{urlencode({name: text for name, text in asked.items() if text})}"


@blueprint.get("/bench")
def bench_page() -> Response:
    """What to build and measure next."""
    return _show()


@blueprint.get("/bench/find")
def find() -> Response:
    """A scanned or typed code or mark starts or resumes its work."""
    text = strip_address(request.args.get("code", ""))
    if not text:
        return _show(Complaint(422, _("Scan or type a code or a mark first.")))
    site = this_site()
    try:
        with site.store.read() as tx:
            found = scan_code(tx, site.clock(), text)
    except Refusal as refusal:
        return _show(Complaint.of(refusal))
    return go_to(_work_on(found, text))


def _work_on(found: Scan, text: str) -> str:
    built = found.holder.built_as if found.holder else None
    if found.tool is not None or built is not None:
        # by the text that was scanned: an old label has to be told so
        return f"/bench/work/{quote(text if found.tool else built.code if built else text)}"
    if found.holder is not None:
        return f"/bench/build?{urlencode({'holder': found.holder.code})}"
    if found.lot is not None:
        return f"/bench/build?{urlencode({'lot': found.lot.code})}"
    if found.gauge is not None:
        return f"/bench/gauges/{quote(found.gauge.gauge)}"
    return f"/C/{quote(text, safe='/')}"


def _show(complaint: Complaint | None = None) -> Response:
    site = this_site()
    present = site.clock()
    queue = queue_now()
    with site.store.read() as tx:
        gauges = gauge_states(tx, present)
    return page(
        "bench.html",
        complaint.status if complaint else 200,
        wasm=True,
        queue=queue,
        present=present,
        gauges=gauges,
        no_gauge_counts=bool(gauges) and not any(one.counts for one in gauges),
        racked=request.args.get("racked", "")[:40],
        typed=request.args.get("code", "") if complaint else "",
        complaint=complaint,
    )
