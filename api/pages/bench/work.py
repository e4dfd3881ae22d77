"""The work on one tool: recipe, readings to scale, the verdict, its label, its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act, go_to
from api.pages.bench.finish import finish_of
from api.pages.bench.measures import MeasureShown, asked_measures, measures_shown
from api.pages.bench.readings import Draft, added, draft_from
from api.pages.here import person_here
from api.pages.render import page
from api.pages.undo import undo_offer
from crib.acts.gauge_trust import Override
from crib.acts.measures_needed import MeasuresNeeded, measures_of_tool
from crib.acts.preset_tool import PresetTool, preset_tool
from crib.errors import Refusal
from crib.floor.cautions import build_cautions
from crib.metrology.gauge_line import example_line
from crib.store.engine import Tx
from crib.store.label_prints import LabelPrinted, label_printed_last
from crib.views.gauge_state import GaugeState, gauge_states, usual_gauge
from crib.views.preview_preset import PresetPreview, preview_preset
from crib.views.scan_code import scan_code
from crib.views.show_assembly import AssemblyShown, show_assembly

blueprint = Blueprint("bench_work", __name__)


def work_address(code: str) -> str:
    """Where the work on a tool is."""
    return f"/bench/work/{quote(code)}"


@blueprint.get("/bench/work/<path:code>")
def work_page(code: str) -> Response:
    """What a tool is made of, what it measures, and what comes next."""
    try:
        draft = draft_from(request.args, request.args.getlist("r"))
    except Refusal as refusal:
        return show_work(code, complaint=Complaint.of(refusal))
    site = this_site()
    present = site.clock()
    line = request.args.get("line", "").strip()
    try:
        with site.store.read() as tx:
            elsewhere = _scanned(tx, present, line, draft, code)
            if elsewhere is not None:
                return go_to(elsewhere)
            gauge = usual_gauge(gauge_states(tx, present), draft.gauge)
        more = added(draft, gauge.row.line_pattern if gauge else None)
    except Refusal as refusal:
        return show_work(code, draft, Complaint.of(refusal))
    if more is not None:
        return go_to(more.address(work_address(code)))
    return show_work(code, draft)


@blueprint.post("/bench/work/<path:code>")
def record_preset(code: str) -> Response:
    """Record the readings as a preset."""
    lines = request.form.getlist("r")
    reason = request.form.get("override_reason", "").strip()

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        draft = draft_from(request.form, lines)
        override = Override(by or "", reason) if reason else None
        gauge = draft.gauge or None
        done = preset_tool(
            tx, present, PresetTool(code, draft.readings, gauge, override, by=by)
        )
        return work_address(done.code)

    try:
        return act(work)
    except Refusal as refusal:
        complaint = Complaint.of(refusal)
    try:
        return show_work(code, draft_from(request.form, lines), complaint)
    except Refusal:
        return show_work(code, complaint=complaint)


def _scanned(tx: Tx, present: datetime, text: str, draft: Draft, code: str) -> str | None:
    """Where to go for a text that is no line of a gauge but a code or a mark."""
    if not text or " " in text or "\t" in text:
        return None
    try:
        found = scan_code(tx, present, text)
    except Refusal:
        return None  # then it has to be a line; what cannot be read says so itself
    if found.gauge is not None:
        return Draft(found.gauge.gauge, draft.readings).address(work_address(code))
    return f"/bench/find?code={quote(text)}"


@dataclass(frozen=True, slots=True)
class _Judged:
    """What the readings came to so far."""

    preview: PresetPreview | None
    measures: Sequence[MeasureShown]
    complaint: Complaint | None


def _judge(tx: Tx, present: datetime, code: str, draft: Draft) -> _Judged:
    if not draft.readings:
        return _Judged(None, (), None)
    try:
        preview = preview_preset(tx, present, code, draft.readings, draft.gauge or None)
    except Refusal as refusal:
        return _Judged(None, (), Complaint.of(refusal))
    return _Judged(preview, measures_shown(preview, draft.readings), None)


def show_work(
    code: str, draft: Draft | None = None, complaint: Complaint | None = None
) -> Response:
    """The page of the work on a tool.

    Args:
        code: Code of its label, or its holder.
        draft: Readings taken so far.
        complaint: What a refusal said of the form that was sent.
    """
    draft = draft or Draft()
    site = this_site()
    present = site.clock()
    with site.store.read() as tx:
        tool = show_assembly(tx, present, code)
        ready = _is_ready(tool, present)
        finish = None
        if ready:
            finish = finish_of(tx, site, site.plans.plan(present), tool.code)
        states = gauge_states(tx, present)
        gauge = usual_gauge(states, draft.gauge)
        if gauge is not None:
            draft = Draft(gauge.row.gauge, draft.readings, draft.by_hand)
        judged = _judge(tx, present, tool.code, draft)
        needed = measures_of_tool(tx, tool.code)
        printed = label_printed_last(tx, tool.id)
    return page(
        "bench_work.html",
        complaint.status if complaint else 200,
        wasm=True,
        present=present,
        tool=tool,
        asked_as=tool.superseded_code,
        ready=ready,
        finish=finish,
        measurable=tool.ended_at is None and tool.station is None,
        gauges=states,
        gauge=gauge,
        draft=draft,
        fields=asked_measures(tool.recipe, draft.readings, needed.names()),
        judged=judged,
        lacking=_lacking(tool, needed),
        voids=tool.labels[-1].preset_id is not None,
        printed=printed,
        stale=_stale(tool, printed),
        complaint=complaint,
        undo=None if tool.preset or tool.ended_at else undo_offer([tool.id]),
        may_override=_may_override(gauge, judged),
        example=example_line(gauge.row.line_pattern if gauge else None),
        cautions=build_cautions(tool.recipe.torque_nm),
        at=work_address(tool.code),
        typed=request.values,
    )


def _lacking(tool: AssemblyShown, needed: MeasuresNeeded) -> tuple[str, ...]:
    """What stations need of an accepted preset that it does not have."""
    if tool.preset is None or not tool.preset.accepted or tool.ended_at is not None:
        return ()
    measured = tool.preset.measures_tenths_um()
    return (*needed.why_not(measured), *needed.cautions(measured))


def _stale(tool: AssemblyShown, printed: LabelPrinted | None) -> LabelPrinted | None:
    """The label that is on the tool, where it is not the one that holds."""
    now = tool.labels[-1]
    return None if printed in (None, (now.code, now.preset_id)) else printed


def _is_ready(tool: AssemblyShown, present: datetime) -> bool:
    preset = tool.preset
    return bool(
        preset is not None
        and preset.accepted
        and present <= preset.void_after
        and tool.ended_at is None
        and tool.station is None
    )


def _may_override(gauge: GaugeState | None, judged: _Judged) -> bool:
    """Whether only the gauge is in the way, and the person is a supervisor."""
    person = person_here()
    return (
        judged.preview is not None
        and bool(judged.preview.gauge_problems)
        and not judged.preview.why_not
        and person is not None
        and person.role == "supervisor"
    )
