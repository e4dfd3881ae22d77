"""Labels put on paper, each print on record; sent to the site's print queue if it has one."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, writes
from api.print_queue import send_to_queue
from api.rest.paper import USUAL_STOCK, print_labels
from api.schemas.facts import FactBody
from api.schemas.fields import Text
from api.schemas.results import shape_from
from crib.acts.print_label import LabelPrinted, PrintLabel, print_label
from labels.media import load_stocks, stock_named

blueprint = Blueprint("label prints", __name__, description="Labels put on paper.")

LabelPrintShape = shape_from(
    LabelPrinted,
    "LabelPrintShape",
    rename={"fact_id": "fact", "code": "assembly"},
    more={
        "label": Text(required=True, explains="Address of the label that was printed, a PDF.")
    },
)


class LabelPrintBody(FactBody):
    """Print a tool's label."""

    stock = Text(load_default=USUAL_STOCK, explains="Name of a label stock.")
    reason = Text(explains="Why it is printed again; the first print needs none.")


def printed_label(call: Call, command: PrintLabel) -> LabelPrinted:
    """Record a print, and send it where the command names a queue.

    The queue is asked last, so that its refusal takes the record back.

    Raises:
        NotPrinted: The queue did not take it.
    """
    stock_named(command.stock, load_stocks(call.site.settings.stocks_file))
    done = print_label(call.tx, call.present, command)
    if done.queue is not None:
        pdf = print_labels(call, [done.code], done.stock, 1)
        send_to_queue(done.queue, pdf, f"label {done.code}")
    return done


@writes(
    blueprint,
    "/v1/assemblies/<name:code>/label-prints",
    LabelPrintShape(),
    body=LabelPrintBody(),
)
def post_label_print(call: Call, code: str) -> Reply:
    """Print a tool's label and put that on record."""
    command = PrintLabel(code, queue=call.site.settings.print_queue, **call.body)
    done = printed_label(call, command)
    told = {name: getattr(done, name) for name in LabelPrinted.__slots__}
    told["label"] = f"/v1/labels/{done.code}.pdf?stock={done.stock}"
    return Reply(told, headers={"Location": f"/v1/label-prints/{done.fact_id}"})
