"""The gauges: checked on their setting masters, and how the lines they send are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.language import _
from api.language.formats import length, nominal_length
from api.language.preferences import preferences
from api.pages.acts import Complaint, act, go_to
from api.pages.bench.measures import NAMES
from api.pages.bench.readings import Draft, added, draft_from
from api.pages.bench.scale import ScaleDrawn, draw_scale
from api.pages.render import page
from crib.acts.check_gauge import CheckGauge, check_gauge_on_master, judge_on_master
from crib.acts.gauge_trust import width_tenths_um
from crib.acts.study_gauge import MeasureStudied, study_gauge
from crib.errors import Refusal
from crib.metrology.figures import Figures
from crib.metrology.gauge_check import BIAS_SHARE, GaugeCheck
from crib.metrology.gauge_line import compile_pattern, example_line, read_line
from crib.metrology.preset import Reading
from crib.records.catalogue import GAUGES
from crib.store.engine import Tx
from crib.store.presets import CheckResultRow, checks_of
from crib.store.records import update_record
from crib.store.resolve import resolve_gauge
from crib.views.gauge_state import (
    GaugeState,
    checks_due,
    gauge_state,
    gauge_states,
    shift_end,
)

blueprint = Blueprint("bench_gauges", __name__)

#: Checks that the page lists.
LATEST = 12


def gauge_address(mark: str) -> str:
    """Where a gauge's checks are."""
    return f"/bench/gauges/{quote(mark)}"


@blueprint.get("/bench/gauges")
def gauges_page() -> Response:
    """Every gauge and whether it counts now."""
    site = this_site()
    present = site.clock()
    with site.store.read() as tx:
        states = gauge_states(tx, present)
    return page(
        "bench_gauges.html",
        states=states,
        present=present,
        checks=checks_due(states, present, shift_end(site.plans.plan(present).shop)),
    )


@blueprint.get("/bench/gauges/<path:mark>")
def gauge_page(mark: str) -> Response:
    """One gauge: check it, see its checks, change how its lines are read."""
    try:
        draft = draft_from(request.args, request.args.getlist("r"))
    except Refusal as refusal:
        return _show(mark, Draft(), Complaint.of(refusal))
    try:
        with this_site().store.read() as tx:
            state = _state(tx, this_site().clock(), mark)
        more = added(draft, state.row.line_pattern)
    except Refusal as refusal:
        return _show(mark, draft, Complaint.of(refusal))
    if more is not None:
        return go_to(more.address(gauge_address(mark)))
    return _show(mark, draft)


@blueprint.post("/bench/gauges/<path:mark>")
def record_check(mark: str) -> Response:
    """Record the readings of the master as a check."""
    lines = request.form.getlist("r")

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        readings = draft_from(request.form, lines).readings
        done = check_gauge_on_master(tx, present, CheckGauge(mark, readings, by=by))
        return gauge_address(done.gauge)

    try:
        return act(work)
    except Refusal as refusal:
        complaint = Complaint.of(refusal)
    try:
        return _show(mark, draft_from(request.form, lines), complaint)
    except Refusal:
        return _show(mark, Draft(), complaint)


@blueprint.post("/bench/gauge-lines/<path:mark>")
def keep_pattern(mark: str) -> Response:
    """Change how the lines of a gauge are read."""
    pattern = request.form.get("line_pattern", "").strip()

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        gauge = resolve_gauge(tx, mark)
        if pattern:
            compile_pattern(pattern)
        update_record(tx, GAUGES, gauge.id, {"line_pattern": pattern or None})
        return gauge_address(mark)

    try:
        return act(work)
    except Refusal as refusal:
        complaint = Complaint.of(refusal)
        told = complaint.wrong.pop("pattern", None)
        if told is not None:
            complaint.wrong["line_pattern"] = told
        return _show(mark, Draft(), complaint)


def _state(tx: Tx, present: datetime, mark: str) -> GaugeState:
    return gauge_state(tx, resolve_gauge(tx, mark).id, present)


@dataclass(frozen=True, slots=True)
class MasterMeasure:
    """Readings of one length of the master.

    Attributes:
        name: LF, WF or HF.
        check: What they came to.
        master_tenths_um: The length of the master [0.1 µm].
        half_tenths_um: How far the gauge may read off it [0.1 µm].
        drawn: The same to scale.
        sentence: The drawing in words.
    """

    name: str
    check: GaugeCheck
    master_tenths_um: int
    half_tenths_um: int
    drawn: ScaleDrawn
    sentence: str


def _preview(state: GaugeState, readings: Sequence[Reading]) -> list[MasterMeasure]:
    half = round(width_tenths_um(state.row) * BIAS_SHARE)
    masters = {
        "LF": state.row.master_lf_tenths_um,
        "WF": state.row.master_wf_tenths_um,
        "HF": state.row.master_hf_tenths_um,
    }
    shown = []
    figures = Figures(preferences().unit)
    for name, check in judge_on_master(state.row, readings, figures).items():
        master = masters[name] or 0
        values = [value for one in readings if (value := one.value(name)) is not None]
        sentence = _(
            "{measure} to scale: master {master}, limits {lower} to {upper}; mean {mean}.",
            measure=name,
            master=nominal_length(master),
            lower=nominal_length(master - half),
            upper=nominal_length(master + half),
            mean=length(check.mean_tenths_um),
        )
        drawn = draw_scale(master, half, values, check.mean_tenths_um, 0.0)
        shown.append(MasterMeasure(name, check, master, half, drawn, sentence))
    return shown


@dataclass(frozen=True, slots=True)
class _TriedOut:
    """What a pattern makes of a line."""

    pattern: str
    line: str
    reading: Reading | None
    refusal: str


def _try_out(stored: str | None) -> _TriedOut:
    pattern = request.values.get("line_pattern", stored or "").strip()
    line = request.args.get("try", "").strip()
    if not line:
        return _TriedOut(pattern, "", None, "")
    try:
        reading = read_line(compile_pattern(pattern) if pattern else None, line)
    except Refusal as refusal:
        return _TriedOut(pattern, line, None, refusal.sentence)
    return _TriedOut(pattern, line, reading, "")


@dataclass(frozen=True, slots=True)
class _Found:
    """What the page shows of a gauge."""

    state: GaugeState
    checks: Sequence[CheckResultRow]
    studied: Sequence[MeasureStudied]
    preview: Sequence[MasterMeasure]
    complaint: Complaint | None


def _find(tx: Tx, present: datetime, mark: str, draft: Draft) -> _Found:
    state = _state(tx, present, mark)
    checks = checks_of(tx, state.row.id, present)
    studied = study_gauge(tx, present, state.row.code).measures
    preview: Sequence[MasterMeasure] = ()
    complaint = None
    if draft.readings:
        try:
            preview = _preview(state, draft.readings)
        except Refusal as refusal:
            complaint = Complaint.of(refusal)
    return _Found(state, checks[::-1][:LATEST], studied, preview, complaint)


def _show(mark: str, draft: Draft, complaint: Complaint | None = None) -> Response:
    site = this_site()
    present = site.clock()
    with site.store.read() as tx:
        found = _find(tx, present, mark, draft)
    measures = draft.readings[0].carried() if draft.readings else found.state.measures
    return page(
        "bench_gauge.html",
        complaint.status if complaint else 200,
        present=present,
        state=found.state,
        checks=found.checks,
        studied=found.studied,
        preview=found.preview,
        judged_complaint=found.complaint,
        draft=draft,
        fields=[(name, _(NAMES[name])) for name in measures],
        example=example_line(found.state.row.line_pattern),
        tried=_try_out(found.state.row.line_pattern),
        complaint=complaint,
        at=gauge_address(found.state.row.gauge),
        typed=request.args,
    )
