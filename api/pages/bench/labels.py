"""A tool's label at the bench: seen as it will print, printed, again only with a reason."""

from __future__ import annotations

import io
from datetime import datetime
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.operation import Call
from api.http.site import Site, this_site
from api.pages.acts import Complaint, act
from api.pages.bench.finish import STOCK_COOKIE
from api.pages.bench.work import show_work, work_address
from api.problems import row_of
from api.rest.label_prints import printed_label
from crib.acts.print_label import PrintLabel
from crib.errors import Refusal
from crib.store.engine import Tx
from labels.media import Stock, load_stocks, stock_named

blueprint = Blueprint("bench_labels", __name__)

_KEPT_S = 400 * 24 * 3600

#: Resolution of the picture of a whole sheet [dots per inch]; a roll's is its printer's own.
_SHEET_DPI = 110
_POINTS_PER_INCH = 72


@blueprint.get("/bench/labels/<path:code>.png")
def label_picture(code: str) -> Response:
    """The first page that the printer gets, as a picture."""
    from api.print_labels import labels_pdf
    from api.print_texts import Printing

    site = this_site()
    name = request.args.get("stock", "")
    try:
        stock = stock_named(name, load_stocks(site.settings.stocks_file))
        with site.store.read() as tx:
            pdf = labels_pdf(Printing(tx, site.clock(), site.in_zone), [code], name, 1)
    except Refusal as refusal:
        return Response(refusal.sentence, row_of(type(refusal)).status, mimetype="text/plain")
    return Response(_drawn(pdf, stock), content_type="image/png")


def _drawn(pdf: bytes, stock: Stock) -> bytes:
    import pypdfium2

    dpi = stock.dpi if stock.kind == "roll" else _SHEET_DPI
    document = pypdfium2.PdfDocument(pdf)
    try:
        picture = document[0].render(scale=dpi / _POINTS_PER_INCH).to_pil()
    finally:
        document.close()
    png = io.BytesIO()
    picture.save(png, "PNG")
    return png.getvalue()


@blueprint.post("/bench/print/<path:code>")
def print_it(code: str) -> Response:
    """Print the label and put that on record; without a print queue it opens to be printed."""
    site = this_site()
    stock = request.form.get("stock", "")
    reason = request.form.get("reason", "").strip() or None

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        return _printed(site, tx, present, PrintLabel(code, stock, reason, by=by))

    try:
        answer = act(work)
    except Refusal as refusal:
        return show_work(code, complaint=Complaint.of(refusal))
    answer.set_cookie(
        STOCK_COOKIE, stock, max_age=_KEPT_S, httponly=True, samesite="Lax", path="/bench"
    )
    return answer


def _printed(site: Site, tx: Tx, present: datetime, command: PrintLabel) -> str:
    call = Call(tx, site, present, {}, None, request)
    queue = site.settings.print_queue
    wanted = PrintLabel(command.assembly, command.stock, command.reason, queue, by=command.by)
    done = printed_label(call, wanted)
    if done.queue is not None:
        return work_address(done.code)
    return f"/v1/labels/{quote(done.code)}.pdf?stock={quote(done.stock)}"
