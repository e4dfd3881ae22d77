"""One tool key: its lives and which are doubted, curve with band, swap point, costs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act
from api.pages.curves.asked import asked_of_key
from api.pages.curves.figures import Field, rows_apart, ticks
from api.pages.curves.lives import life_address
from api.pages.machine.words import REASON_WORDS
from api.pages.number_links import ages_typed, number_link
from api.pages.render import page
from crib.acts.confirm_life import ConfirmLife, confirm_life
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.errors import Refusal
from crib.left_out import or_refuse
from crib.store.engine import Tx
from crib.store.life_rows import standing_confirmations
from crib.views.key_curve import BAND, HARDLY_MORE, KeyCurve, curve_of_key
from crib.views.life_of_key import no_life
from crib.views.lives_seen import check_shown_life

blueprint = Blueprint("life", __name__)

#: Rows of the strip of marks, and the lives and removals that a page lists.
_ROWS, _MOST_LISTED = 6, 200


@dataclass(frozen=True, slots=True)
class Mark:
    """A life on the strip: place, how it ended, whether it is doubted."""

    x: float
    y: float
    ended: str
    doubted: bool


@dataclass(frozen=True, slots=True)
class Drawn:
    """Path data and ticks of both figures; ages in the unit of the axis."""

    unit: float
    until: float
    x_ticks: list[tuple[float, float]]
    marks: list[Mark]
    band: str
    curve: str
    steps: str
    chances: list[tuple[float, float]]
    swap_x: float | None
    cost: str
    cost_ticks: list[tuple[float, float]]
    flat: tuple[float, float] | None
    swap_y: float | None


@blueprint.get("/lives/<path:key>")
def show_life(key: str, complaint: Complaint | None = None) -> Response:
    """The life curve of a key.

    Args:
        key: Its name.
        complaint: Why a life was not confirmed.
    """
    site = this_site()
    plan = site.plans.plan(site.clock())
    found = or_refuse(lambda: curve_of_key(plan, key), no_life(key))
    unit = found.use.wear_per_part or 1.0
    seen = found.seen[:_MOST_LISTED]
    with site.store.read() as tx:
        confirmed = standing_confirmations(
            tx, [one.removal for one in seen if one.confirmed and one.removal]
        )
    return page(
        "life.html",
        status=complaint.status if complaint else 200,
        complaint=complaint,
        seen=seen,
        confirmed=confirmed,
        found=found,
        parts=found.use.wear_per_part is not None,
        drawn=draw(found, unit),
        unit=unit,
        band=BAND,
        more=HARDLY_MORE,
        reason_words=REASON_WORDS,
        listed=found.removals[:_MOST_LISTED],
        fit_link=_fit_link(found, unit),
        swap_link=_swap_link(found, unit),
        asked=asked_of_key(plan, key, request.args),
        reason_most=max((one.removals for one in found.reasons), default=1),
    )


@blueprint.post("/lives/<path:key>")
def confirm(key: str) -> Response:
    """Say of one life that its record is right, or take that back."""
    site, form = this_site(), request.form

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        if "fact" in form:
            reverse_fact(tx, present, ReverseFact(_whole("fact"), by=by))
        else:
            confirm_life(tx, present, ConfirmLife(_whole("removal"), _whole("parts"), by=by))
        return f"{life_address(key)}#lives"

    try:
        if "fact" not in form:
            plan = site.plans.plan(site.clock())
            check_shown_life(plan, _whole("removal"), _whole("parts"))
        return act(work)
    except Refusal as refusal:
        shown: Response = show_life(key, Complaint.of(refusal))
        return shown


def _whole(name: str) -> int:
    """A number that the form carries; -1 where it carries none."""
    text = request.form.get(name, "")
    return int(text) if text.isdecimal() and len(text) < 16 else -1


def draw(found: KeyCurve, unit: float) -> Drawn:
    """Lay out both figures.

    Args:
        found: The key.
        unit: Wear units of one unit of the axis.
    """
    until = found.curve[-1].age / unit
    field = Field(until, 1.0)
    nodes = [(one.age / unit, one) for one in found.curve]
    steps = [(one.age / unit, one.survival) for one in found.steps]
    oldest = max((one.age for one in found.lives), default=0.0) / unit
    swap = found.swap
    costs = [(one.age / unit, one.rate * unit) for one in swap.costs] if swap else []
    least = swap.rate * unit if swap else 1.0
    # what lies above three times the cost today is not worth the room
    cost_field = Field(until, 3.0 * least)
    return Drawn(
        unit,
        until,
        [(field.x(x), x) for x in ticks(until)],
        _marks(found, field, unit),
        field.area([(x, n.low) for x, n in nodes], [(x, n.high) for x, n in nodes]),
        field.line([(x, n.survival) for x, n in nodes]),
        field.stairs(steps, oldest) if steps else "",
        [(field.y(y), y) for y in (0.0, 0.25, 0.5, 0.75, 1.0)],
        field.x(swap.age / unit) if swap else None,
        cost_field.line([one for one in costs if one[1] <= 3.0 * least]) if costs else "",
        [(cost_field.y(y), y) for y in ticks(3.0 * least)],
        (field.x(swap.flat_from / unit), field.x(swap.flat_to / unit)) if swap else None,
        cost_field.y(least) if swap else None,
    )


def _marks(found: KeyCurve, field: Field, unit: float) -> list[Mark]:
    lives = sorted(found.lives, key=lambda one: one.age)
    places = [field.x(one.age / unit) for one in lives]
    rows = rows_apart(places, 15.0, _ROWS)
    return [
        Mark(x, 16.0 + 17.0 * row, one.ended, one.doubted)
        for x, row, one in zip(places, rows, lives, strict=True)
    ]


def _fit_link(found: KeyCurve, unit: float) -> str:
    ended = [one for one in reversed(found.lives) if one.age > 0 and one.ended != "running"]
    ages = [one.age / unit for one in ended]
    failed = [one.ended != "taken_out_early" for one in ended]
    if not ages:
        return ""
    promised = found.promised / unit
    return number_link(
        "life-fit", {"lives": ages_typed(ages, failed), "age": 0, "promised_life": promised}
    )


def _swap_link(found: KeyCurve, unit: float) -> str:
    if found.swap is None:
        return ""
    return number_link(
        "swap-point",
        {
            "shape": found.shape,
            "scale": found.scale / unit,
            "planned_cost": found.swap.planned / 100,
            "failure_cost": found.swap.failure / 100,
            "break_rate": found.break_rate * unit,
        },
    )
