"""The printed things: labels, the shift sheet, a changeover's kit, as PDF."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Response
from flask_smorest import Blueprint

from api.http.operation import Call, computes_in_store, reads
from api.rest.plan import breakages_of, machine_of, plan_of
from api.schemas.fields import Choice, Shape, Text, Whole, listed
from api.schemas.query import PlainQuery
from api.schemas.views import AsOfQuery, HoursQuery
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.views.kit_for_run import kit_for_run
from crib.views.where_it_lies import places_now
from labels.media import load_stocks

if TYPE_CHECKING:
    from api.print_sheets import Wording

blueprint = Blueprint("print", __name__, description="Labels and sheets on paper.")

PDF = "application/pdf"
PAPERS = ("A4", "Letter")
USUAL_STOCK = "roll-62x29"
MOST_LABELS = 1_000


class LabelQuery(PlainQuery):
    """What to print on."""

    stock = Text(load_default=USUAL_STOCK, explains="Name of a label stock.")
    start = Whole(
        least=1, most=10_000, query=True, load_default=1, explains="First free cell, from 1."
    )
    station = Text(explains="Station that the offsets are for; left out: the one wanting it.")


class LabelsBody(Shape):
    """Labels to print."""

    codes = listed(Text(), least=1, most=MOST_LABELS, required=True)
    stock = Text(load_default=USUAL_STOCK, explains="Name of a label stock.")
    start = Whole(least=1, most=10_000, load_default=1, explains="First free cell, from 1.")


class SheetQuery(HoursQuery):
    """A sheet of a horizon."""

    paper = Choice(PAPERS, load_default="A4")


class KitSheetQuery(AsOfQuery):
    """A kit's sheet."""

    paper = Choice(PAPERS, load_default="A4")


def _pdf(data: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return Response(data, headers=headers, content_type=PDF)


def print_labels(
    call: Call, codes: list[str], stock: str, start: int, station: str | None = None
) -> bytes:
    """Labels of codes or marks as a PDF document."""
    # drawing and symbols cost a tenth of a second; only those who print need them
    from api.print_labels import labels_pdf
    from api.print_texts import Printing

    printing = Printing(call.tx, call.present, call.site.in_zone, station)
    return labels_pdf(printing, codes, stock, start)


@reads(blueprint, "/v1/labels/<name:code>.pdf", None, query=LabelQuery(), media=PDF)
def read_label(call: Call, code: str) -> Response:
    """Print the label of a code or mark."""
    query = call.query
    data = print_labels(call, [code], query["stock"], query["start"], query.get("station"))
    return _pdf(data, "label")


@computes_in_store(blueprint, "/v1/labels.pdf", body=LabelsBody(), media=PDF)
def post_labels(call: Call) -> Response:
    """Print labels of several codes or marks, in that order."""
    return _pdf(print_labels(call, **call.body), "labels")


class StockNames(Shape):
    """Label stocks that this site has."""

    items = listed(Text(), most=10_000, required=True)


@reads(blueprint, "/v1/label-stocks", StockNames(), opens=False)
def list_label_stocks(call: Call) -> dict[str, list[str]]:
    """List the names of the label stocks."""
    return {"items": sorted(load_stocks(call.site.settings.stocks_file))}


@reads(blueprint, "/v1/shift-sheet.pdf", None, query=SheetQuery(), media=PDF, opens=False)
def read_shift_sheet(call: Call) -> Response:
    """Print what to do tonight, the swap list and the bench queue of a horizon."""
    from api.print_sheets import shift_sheet
    from crib.store.night_rows import night_choices_after
    from crib.views.night_view import tonight
    from labels.pdf import render_shift_sheet

    plan = plan_of(call)
    machine = machine_of(call, plan)
    hours = call.query["hours"]
    nights = tonight(plan, machine)
    wording = _wording(call, plan)
    with call.site.store.read() as tx:
        decided = night_choices_after(tx, plan.shop.now)
    sheet = shift_sheet(
        make_swap_list(plan, hours, machine),
        wording,
        hours,
        breakages_of(call),
        (*plan.shop.left_out.records, *nights.problems),
        nights,
        decided,
        {machine} if machine else {one.machine for one in plan.shop.rows.machines.values()},
    )
    return _pdf(render_shift_sheet(sheet, call.query["paper"], wording.say), "shift-sheet")


@reads(blueprint, "/v1/kits/<int:run>.pdf", None, query=KitSheetQuery(), media=PDF, opens=False)
def read_kit_sheet(call: Call, run: int) -> Response:
    """Print what a changeover keeps, pulls, builds and returns."""
    from api.print_sheets import kit_sheet
    from labels.pdf import render_kit_sheet

    plan = plan_of(call)
    wording = _wording(call, plan)
    sheet = kit_sheet(kit_for_run(plan, run), wording)
    data = render_kit_sheet(sheet, call.query["paper"], wording.say)
    return _pdf(data, f"kit-{run}")


def _wording(call: Call, plan: ShopPlan) -> Wording:
    """Sheets speak the language of the shop, whoever asks for them."""
    from api.print_sheets import Wording

    settings = call.site.in_zone
    with call.site.store.read() as tx:
        places = places_now(tx)
    return Wording(settings.language, settings.time_zone, plan.shop.now, places)
