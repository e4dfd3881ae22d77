"""Questions about tools that machines name: answered by a scan, or dismissed with a reason."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act
from api.pages.feeds.taken_back import take_back_fact
from api.pages.here import person_here
from api.pages.render import page
from crib.errors import Refusal
from crib.store.dismissal_rows import last_dismissals
from crib.store.engine import Tx
from crib.usecases.dismiss_question import DismissQuestion, dismiss_question
from crib.usecases.questions import list_questions

blueprint = Blueprint("feeds_asked", __name__)


@blueprint.get("/shift/questions")
def show_asked(complaint: Complaint | None = None) -> Response:
    """What is asked, and what was dismissed."""
    site = this_site()
    with site.store.read() as tx:
        return page(
            "questions.html",
            status=complaint.status if complaint else 200,
            questions=list_questions(tx, site.clock()),
            dismissed=last_dismissals(tx),
            person=person_here(),
            complaint=complaint,
            about=(request.form.get("station", ""), request.form.get("says", "")),
            note=request.form.get("note", ""),
        )


@blueprint.post("/shift/questions")
def dismiss() -> Response:
    """Dismiss one question."""
    station, says = request.form.get("station", ""), request.form.get("says", "")
    note = request.form.get("note", "").strip() or None

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        dismiss_question(tx, present, DismissQuestion(station, says, by, note))
        return "/shift/questions"

    try:
        return act(work)
    except Refusal as problem:
        return show_asked(Complaint.of(problem))


@blueprint.post("/shift/questions/take-back")
def take_back() -> Response:
    """Take a dismissal back."""
    try:
        return take_back_fact("/shift/questions")
    except Refusal as problem:
        return show_asked(Complaint.of(problem))
