"""The bench queue as a page: what to do first, then all jobs, then what is blocked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.pages.acts import Complaint, go_to
from api.pages.bench.queue_asked import Asked, Row, state_of
from api.pages.render import page
from api.rest.plan import bench_rows
from crib.codes import strip_address
from crib.errors import Refusal
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import SwapRow
from crib.store.rack_rows import sharing_places
from crib.views.bench_card import BenchCard, bench_cards
from crib.views.gauge_state import checks_due, gauge_states, shift_end, usual_gauge
from crib.views.scan_code import scan_code
from crib.views.scan_shapes import Scan

blueprint = Blueprint("bench_queue", __name__)

#: The whole queue in its own order.
ALL = Asked()

#: Jobs that the table shows with what to take for each; the rest is counted.
MOST_JOBS = 40


@dataclass(frozen=True, slots=True)
class Job:
    """One job of the queue.

    Attributes:
        row: Its row, as ``bench_rows`` makes it.
        card: What to take.
        address: Where its work is started or resumed.
        state: How it stands: late, now or in_time.
    """

    row: Row
    card: BenchCard
    address: str
    state: str


@dataclass(frozen=True, slots=True)
class Queue:
    """The bench's work as it is now.

    Attributes:
        next: The job to do first.
        jobs: Those asked for, in the order asked for.
        more: How many come after them.
        number: How many jobs there are.
        late: Stations of those that are late.
        machines: Machines that jobs are for.
        blocked: Swaps whose sister cannot be ready.
        ready: How many swaps have a sister that is ready.
        forecasts: How many tools are mounted and forecast.
    """

    next: Job | None
    jobs: Sequence[Job]
    more: int
    number: int
    late: Sequence[str]
    machines: Sequence[str]
    blocked: Sequence[SwapRow]
    ready: int
    forecasts: int


def queue_now(asked: Asked = ALL) -> Queue:
    """The queue of the present instant.

    Args:
        asked: Which of its jobs, and in which order.
    """
    site = this_site()
    present = site.clock()
    plan = site.plans.plan(present)
    found = make_swap_list(plan)
    rows = bench_rows(found)
    wanted = asked.rows(rows, present)
    shown = wanted[:MOST_JOBS]
    with site.store.read() as tx:
        cards = bench_cards(tx, found, {row["position"] for row in (*rows[:1], *shown)})

    def job(row: Row) -> Job:
        return Job(row, cards[row["position"]], _address(row, cards), state_of(row, present))

    return Queue(
        next=job(rows[0]) if rows else None,
        jobs=[job(row) for row in shown],
        more=len(wanted) - len(shown),
        number=len(rows),
        late=[f"{row['machine']}/{row['station']}" for row in rows if row["late"]],
        machines=sorted({row["machine"] for row in rows}),
        blocked=[row for row in found.rows if row.blocked],
        ready=sum(row.sister.state == "ready" for row in found.rows),
        forecasts=len(plan.forecasts),
    )


def _address(row: Row, cards: dict[int, BenchCard]) -> str:
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
        # by the scanned text, so that an old label is recognised as old
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
    asked = Asked.of(request.args)
    racked = request.args.get("racked", "")[:40]
    with site.store.read() as tx:
        gauges = gauge_states(tx, present)
        also_there = sharing_places(tx).get(racked, ()) if racked else ()
    # without a gauge to measure on, a check comes first
    due = usual_gauge(gauges) if not any(one.counts for one in gauges) else None
    return page(
        "bench.html",
        complaint.status if complaint else 200,
        wasm=True,
        queue=queue_now(asked),
        asked=asked,
        present=present,
        gauges=[one for one in gauges if one is not due],
        due=due,
        checks=checks_due(gauges, present, shift_end(site.plans.plan(present).shop)),
        racked=racked,
        also_there=also_there,
        typed=request.args.get("code", "") if complaint else "",
        complaint=complaint,
    )
