"""Counts that were kept aside: a supervisor judges each, or a stretch of them at once."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act
from api.pages.feeds.taken_back import take_back_fact
from api.pages.here import person_here
from api.pages.render import page
from crib.acts.judge_count import JudgeCount, judge_count
from crib.errors import Refusal
from crib.store.engine import Tx
from crib.store.verdict_rows import count_waiting, judged_counts, waiting_for_verdict
from crib.views.set_stretches import set_stretches

blueprint = Blueprint("feeds_aside", __name__)

#: Counts on one page.
MOST_SHOWN = 100


@blueprint.get("/shift/counts-aside")
def show_aside(complaint: Complaint | None = None) -> Response:
    """What waits for a verdict, and the last verdicts."""
    with this_site().store.read() as tx:
        return page(
            "counts_aside.html",
            status=complaint.status if complaint else 200,
            waiting=waiting_for_verdict(tx, MOST_SHOWN),
            stretches=set_stretches(tx),
            in_all=count_waiting(tx),
            judged=judged_counts(tx),
            person=person_here(),
            complaint=complaint,
            about=request.form.get("refusal", ""),
            note=request.form.get("note", ""),
        )


@blueprint.post("/shift/counts-aside")
def judge() -> Response:
    """Accept or discard one count, or say that the counter was set."""
    refusal = request.form.get("refusal", "")
    verdict = request.form.get("verdict", "")
    note = request.form.get("note", "").strip() or None

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        number = int(refusal) if refusal.isdecimal() else 0
        done = judge_count(tx, present, JudgeCount(number, verdict, by, note=note))
        return f"/shift/counts-aside?judged={done.refusal}"

    try:
        return act(work)
    except Refusal as problem:
        return show_aside(Complaint.of(problem))


@blueprint.post("/shift/counts-aside/take-back")
def take_back() -> Response:
    """Take a verdict back."""
    try:
        return take_back_fact("/shift/counts-aside")
    except Refusal as problem:
        return show_aside(Complaint.of(problem))
