"""Building a tool at the bench: holder, lot and edge, and every mismatch by its field."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act, typed
from api.pages.bench.queue import Job, queue_now
from api.pages.bench.work import work_address
from api.pages.render import page
from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.codes import strip_address
from crib.errors import Invalid, Refusal
from crib.floor.cautions import build_cautions
from crib.records.catalogue import TOOL_SPECS
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.records import sound_records
from crib.store.resolve import resolve_holder, resolve_lot
from crib.store.sound_rows import not_read
from crib.store.stockrows import holder_row, lot_row, spec_id_by_name, spec_row

blueprint = Blueprint("bench_build", __name__)

#: What the form asks for.
FIELDS = ("tool_spec", "holder", "lot", "edge")


@blueprint.get("/bench/build")
def build_page() -> Response:
    """The form, with what a job of the queue says filled in."""
    asked = {name: request.args.get(name, "").strip() for name in FIELDS}
    return _form(_with_job({name: text for name, text in asked.items() if text}))


@blueprint.post("/bench/build")
def build_it() -> Response:
    """Build the tool, then go on to measuring it."""
    entries = typed()

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        command = BuildAssembly(
            tool_spec=entries.get("tool_spec", ""),
            holder=entries.get("holder", ""),
            lot=entries.get("lot", ""),
            edge=_edge(entries.get("edge")),
            by=by,
        )
        _refuse_missing(entries)
        return work_address(build_assembly(tx, present, command).code)

    try:
        return act(work)
    except Refusal as refusal:
        return _form(entries, Complaint.of(refusal))


def _refuse_missing(entries: Mapping[str, str]) -> None:
    missing = [name for name in ("tool_spec", "holder", "lot") if name not in entries]
    if missing:
        raise Invalid(
            sentence("Something is missing: scan or choose it."),
            errors=[{"field": name, "detail": sentence("is missing")} for name in missing],
        )


def _edge(text: str | None) -> int | None:
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 4):
        raise Invalid(
            sentence("'{text}' is not an edge number: edges count from 1.", text=text[:20]),
            errors=[{"field": "edge", "detail": sentence("must be a whole number from 1")}],
        )
    return int(text)


def _with_job(asked: dict[str, str]) -> dict[str, str]:
    """The fields of the form, completed from the first matching job of the queue."""
    if not asked or set(asked) >= {"tool_spec", "holder", "lot"}:
        return asked
    names = _names(asked)
    for job in queue_now().jobs:
        known = _of_job(job)
        if known and all(known.get(name, text) == text for name, text in names.items()):
            return known | asked
    return asked


def _names(asked: Mapping[str, str]) -> dict[str, str]:
    """The same with marks in place of codes, as the queue names things."""
    names = dict(asked)
    with this_site().store.read() as tx:
        try:
            if "holder" in names:
                names["holder"] = holder_row(tx, resolve_holder(tx, names["holder"]).id).mark
            if "lot" in names:
                names["lot"] = lot_row(tx, resolve_lot(tx, names["lot"]).id).mark
        except Refusal:
            return names  # the form says it once it is sent
    return names


def _of_job(job: Job) -> dict[str, str]:
    if job.row["work"] != "build" or job.card.recipe is None:
        return {}
    recipe = job.card.recipe
    return {
        "tool_spec": recipe.tool_spec,
        "holder": recipe.holder,
        "lot": recipe.lot,
        "edge": str(recipe.edge),
    }


def _form(entries: Mapping[str, str], complaint: Complaint | None = None) -> Response:
    with this_site().store.read() as tx:
        rows, unreadable = sound_records(tx, TOOL_SPECS)
        specs = [str(row["tool_spec"]) for row in rows]
        chosen = entries.get("tool_spec", "")
        spec = spec_row(tx, spec_id_by_name(tx, chosen)) if chosen in specs else None
    return page(
        "bench_build.html",
        complaint.status if complaint else 200,
        wasm=True,
        specs=specs,
        problems=[not_read("tool-specs", one) for one in unreadable],
        spec=spec,
        entries={name: strip_address(text) for name, text in entries.items()},
        complaint=complaint,
        cautions=build_cautions(spec.torque_nm if spec else None),
    )
