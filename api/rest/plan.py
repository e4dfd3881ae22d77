"""Forecasts, swap list and bench queue: three looks at one plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, reads
from api.http.paging import page_link
from api.schemas.views import (
    BenchPage,
    ForecastPage,
    HoursQuery,
    PlanQuery,
    SwapPage,
)
from crib.acts.question import Question
from crib.acts.unclear_breakages import unclear_breakages
from crib.clock import instant_from_us, instant_or_none, refuse_future
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import SwapList, SwapRow
from crib.planning.bench import QueueRow
from crib.planning.night import MachineNight
from crib.planning.night_options import UNTIL, Option
from crib.planning.night_words import answer_sentence, reason_sentence
from crib.sentence import together
from crib.store.resolve import machine_id_by_name
from crib.views.bench_card import BenchCard, bench_cards
from crib.views.night_view import decided

blueprint = Blueprint("plan", __name__, description="What gives out when, and its sisters.")

CAUTION = (
    "A forecast is a probability, not a promise: an edge can fail at any time, so unattended "
    "running needs its own means to detect breakage. Stop the spindle and wait until it "
    "stands still before reaching in; edges cut, worn ones too. The machine's manual, site "
    "rules and qualified people come first."
)


def plan_of(call: Call) -> ShopPlan:
    """The plan of the instant that a view is asked for.

    Raises:
        Invalid: An instant in the future: no facts are dated there.
    """
    if "as_of" not in call.query:
        return call.site.plans.plan(call.present)
    as_of: datetime = call.query["as_of"]
    refuse_future(as_of, call.present, what="as_of")
    return call.site.plans.as_of(as_of)


def machine_of(call: Call, plan: ShopPlan) -> str | None:
    """Name of the machine that a view is asked for, if any.

    Raises:
        NotKnown: There is no such machine.
    """
    asked = call.query.get("machine")
    return None if asked is None else plan.shop.machine_named(asked)


def _page(call: Call, rows: Sequence[Any]) -> tuple[Sequence[Any], int | None, dict[str, str]]:
    first, limit = call.query["after"], call.query["limit"]
    following = first + limit if first + limit < len(rows) else None
    return rows[first : first + limit], following, page_link(call, following)


@reads(blueprint, "/v1/forecasts", ForecastPage(), query=PlanQuery(), opens=False)
def list_forecasts(call: Call) -> Reply:
    """Forecast every mounted assembly, the most urgent first."""
    plan = plan_of(call)
    machine = machine_of(call, plan)
    rows = [one for one in plan.forecasts if machine in (None, one.machine)]
    shown, following, headers = _page(call, rows)
    nights = [_night(plan, one) for one in plan.nights if machine in (None, one.machine)]
    return Reply(
        {
            "as_of": plan.shop.now,
            "next": following,
            "items": [forecast_row(one) for one in shown],
            "nights": [row for row in nights if row["ordinal"] == 0],
            "later_nights": [row for row in nights if row["ordinal"] > 0],
            "caution": CAUTION,
            "problems": list(plan.shop.problems),
        },
        headers=headers,
    )


def forecast_row(one: Forecast) -> dict[str, Any]:
    """A forecast as its shape wants it."""
    row = {name: getattr(one, name) for name in Forecast.__slots__}
    row["fail_probability"] = {
        "shift": one.fail_probability_shift,
        "unattended": one.fail_probability_unattended,
    }
    if one.basis is not None:
        row["basis"] = asdict(one.basis) | {"observed_lives": one.basis.worn + one.basis.broken}
    return row


def _night(plan: ShopPlan, night: MachineNight) -> dict[str, Any]:
    by_station = plan.by_station()
    names = {station_id: one.station for station_id, one in by_station.items()}
    begins_at = instant_from_us(night.begin_us)
    decision = decided(plan, night)
    chosen, until = decision.chosen, decision.option(UNTIL)
    answer = answer_sentence(night, decision, names)
    reason = reason_sentence(night, decision, names)
    return {
        "machine": night.machine,
        "begins_at": begins_at,
        "ends_at": instant_from_us(night.end_us),
        "counts_from": instant_from_us(night.since_us),
        "ordinal": night.ordinal,
        "answer": decision.kind,
        "answer_sentence": answer,
        "reason_sentence": reason,
        "sentence": together(" ", [answer, reason]) if reason else answer,
        "options": [_option(one, by_station) for one in decision.options],
        "fail_probability": night.as_it_stands,
        "fail_probability_planned": night.as_planned,
        "fail_probability_with_swaps": night.with_swaps,
        "fail_probability_floor": night.floor,
        "fail_probability_breakage": night.breakage,
        "fail_probability_so_far": night.spent,
        "limit": night.limit.chance,
        "limit_loss_minor": None
        if night.limit.loss_minor is None
        else round(night.limit.loss_minor),
        "scale": night.scale,
        "safe": night.safe,
        "swaps": [names[one.station_id] for one in chosen.swaps] if chosen else [],
        "no_sister_in_time": [names[one] for one in decision.missing],
        "not_known": [names[one] for one in night.unknown if one in names],
        "parts_without_job": night.jobless,
        "run_until": None if until is None else instant_or_none(until.until_us),
        "run_until_parts": None if until is None else until.parts,
        "carried_by": _option(chosen, by_station)["carried_by"] if chosen else [],
    }


def _option(option: Option, by_station: Mapping[int, Forecast]) -> dict[str, Any]:
    swapped = {one.station_id for one in option.swaps}
    return {
        "kind": option.kind,
        "fail_probability": option.fail_probability,
        "parts": option.parts,
        "expected_loss_minor": None if option.loss_minor is None else round(option.loss_minor),
        "swaps": [by_station[one.station_id].station for one in option.swaps],
        "swap_minutes": option.minutes,
        "until": instant_or_none(option.until_us),
        "carried_by": [
            carrier_row(
                by_station[one.station_id], one.fail_probability, one.station_id in swapped
            )
            for one in option.carriers
        ],
    }


def carrier_row(one: Forecast, fail_probability: float, swapped: bool) -> dict[str, Any]:
    """An edge that carries part of a stretch's risk, unnamed where a sister is in by then.

    Args:
        one: Forecast of what is mounted in its station now.
        fail_probability: Its chance to fail in the stretch.
        swapped: Whether the option swaps it.
    """
    return {
        "station": one.station,
        "tool_number": one.tool_number,
        "path": one.path,
        "assembly": None if swapped else one.assembly or None,
        "fail_probability": fail_probability,
    }


@reads(blueprint, "/v1/swap-list", SwapPage(), query=HoursQuery(), opens=False)
def read_swap_list(call: Call) -> Reply:
    """List every swap within a horizon, the most urgent first, with its sister."""
    plan = plan_of(call)
    found = make_swap_list(plan, call.query["hours"], machine_of(call, plan))
    shown, following, headers = _page(call, found.rows)
    return Reply(
        {
            "as_of": plan.shop.now,
            "until": found.until,
            "next": following,
            "breakages": breakages_of(call),
            "items": [swap_row(row) for row in shown],
            "caution": CAUTION,
            "problems": list(plan.shop.problems),
        },
        headers=headers,
    )


def breakages_of(call: Call) -> list[Question]:
    """Breakages of nobody knows which tool, of the machine that is asked for."""
    name = call.query.get("machine")
    with call.site.store.read() as tx:
        machine_id = None if name is None else machine_id_by_name(tx, name)
        found = unclear_breakages(tx, machine_id)
    return [one for one in found if one.since <= call.as_of]


def swap_row(row: SwapRow) -> dict[str, Any]:
    """A swap as its shape wants it."""
    one = row.forecast
    return {
        "machine": one.machine,
        "station": one.station,
        "station_code": one.station_code,
        "tool_number": one.tool_number,
        "path": one.path,
        "assembly": row.takes_out,
        "tool_spec": row.tool_spec,
        "part": one.part,
        "ordinal": row.ordinal,
        "swap_by": row.swap_by,
        "needed_by": row.needed_by,
        "standby": row.standby,
        "overdue_since": row.overdue_since,
        "overdue_parts": one.overdue_parts if row.ordinal == 0 else None,
        "swap_after_parts": row.swap_after_parts,
        "why": row.why,
        "why_sentence": row.why_sentence,
        "cost_step_parts": row.cost_step_parts,
        "cost_if_earlier_minor": row.cost_if_earlier_minor,
        "cost_if_later_minor": row.cost_if_later_minor,
        "sister": row.sister,
        "ready_by": row.ready_by,
        "bench_start_by": row.bench.start_by if row.bench else None,
        "late": row.late and not row.blocked,
    }


@reads(blueprint, "/v1/bench-queue", BenchPage(), query=HoursQuery(), opens=False)
def read_bench_queue(call: Call) -> Reply:
    """List the presetter's work in the order to do it, and what cannot be ready."""
    plan = plan_of(call)
    found = make_swap_list(plan, call.query["hours"])
    machine = machine_of(call, plan)
    rows = [row for row in bench_rows(found) if machine in (None, row["machine"])]
    put_off = set(found.queue.fewest_late_names)
    names = {row.position: row.job.name for row in found.queue.rows}
    shown, following, headers = _page(call, rows)
    with call.site.store.read() as tx:
        cards = bench_cards(tx, found, {row["position"] for row in shown})
    return Reply(
        {
            "as_of": plan.shop.now,
            "until": found.until,
            "next": following,
            "items": [row | card_members(cards[row["position"]]) for row in shown],
            "greatest_lateness_min": found.queue.greatest_lateness_minutes,
            "put_off": [row for row in rows if names[row["position"]] in put_off],
            "relief": found.queue.relief,
            "problems": list(plan.shop.problems),
            "blocked": [
                swap_row(row)
                for row in found.rows
                if row.blocked and machine in (None, row.forecast.machine)
            ],
        },
        headers=headers,
    )


def bench_rows(found: SwapList) -> list[dict[str, Any]]:
    """The bench queue as its shape wants it."""
    return [
        _bench_row(job, swap)
        for job, swap in zip(found.queue.rows, found.queue_rows, strict=True)
    ]


def card_members(card: BenchCard) -> dict[str, Any]:
    """What a row of the bench queue says of the things to take."""
    return {
        "recipe": card.recipe,
        "place": card.place,
        "fresh_pieces": card.fresh_pieces,
        "recipe_problem": card.problem,
        "recipe_caution": card.caution,
    }


def _bench_row(row: QueueRow, swap: SwapRow) -> dict[str, Any]:
    one, sister = swap.forecast, swap.sister
    return {
        "position": row.position,
        "work": row.job.work,
        "tool_spec": swap.tool_spec,
        "assembly": sister.assembly,
        "holder": sister.holder,
        "lot": sister.lot,
        "cutting_item": sister.cutting_item,
        "minutes": row.job.minutes,
        "machine": one.machine,
        "station": one.station,
        "station_code": one.station_code,
        "tool_number": one.tool_number,
        "path": one.path,
        "ordinal": swap.ordinal,
        "why": swap.why,
        "why_sentence": swap.why_sentence,
        "needed_by": row.job.due_at,
        "due_since": row.job.due_since,
        "start_by": row.start_by,
        "start_at": row.start_at,
        "finish_at": row.finish_at,
        "lateness_min": row.lateness_minutes,
        "late": row.late,
        "cause": row.cause,
        "holder_from": sister.holder_from,
        "missing": sister.missing,
    }
