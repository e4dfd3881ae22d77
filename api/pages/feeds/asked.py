"""Questions about tools that machines name: answered by a scan, or dismissed with a reason."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, Response, request

from api.http.site import this_site
from api.pages.acts import Complaint, act
from api.pages.feeds.taken_back import take_back_fact
from api.pages.here import person_here
from api.pages.render import page
from crib.acts.dismiss_question import DismissQuestion, dismiss_question
from crib.acts.questions import list_questions
from crib.acts.signal_breakage import SignalBreakage, signal_breakage
from crib.clock import parse_instant
from crib.errors import Refusal
from crib.store.dismissal_rows import last_dismissals
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name
from crib.store.stations import stations_of

blueprint = Blueprint("feeds_asked", __name__)


@blueprint.get("/shift/questions")
def show_asked(complaint: Complaint | None = None) -> Response:
    """Open questions, and dismissed ones."""
    site = this_site()
    form = request.form
    with site.store.read() as tx:
        questions = list_questions(tx, site.clock())
        unclear = {one.machine for one in questions if one.number is not None}
        stations = {name: stations_of(tx, machine_id_by_name(tx, name)) for name in unclear}
        return page(
            "questions.html",
            status=complaint.status if complaint else 200,
            questions=questions,
            stations=stations,
            dismissed=last_dismissals(tx),
            person=person_here(),
            complaint=complaint,
            about=(form["question"], form.get("station", ""))
            if "question" in form
            else (form.get("station", ""), form.get("says", "")),
            note=form.get("note", ""),
        )


@blueprint.post("/shift/questions")
def answer() -> Response:
    """Answer one question: which tool broke, that none did, or that the records are right."""
    form = request.form
    station, number = form.get("station", ""), form.get("question", "")
    note = form.get("note", "").strip() or None

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        if not number:
            told = DismissQuestion(station, form.get("says", ""), by, note)
            dismiss_question(tx, present, told)
        elif station:
            at, question = parse_instant(form.get("at", "")), _whole(number)
            signal = form.get("signal", "")
            signal_breakage(
                tx,
                present,
                SignalBreakage(signal, station, at=at, by=by, note=note, question=question),
            )
        else:
            told = DismissQuestion(by=by, note=note, question=_whole(number))
            dismiss_question(tx, present, told)
        return "/shift/questions"

    try:
        return act(work)
    except Refusal as problem:
        return show_asked(Complaint.of(problem))


def _whole(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 16 else 0


@blueprint.post("/shift/questions/take-back")
def take_back() -> Response:
    """Take a dismissal back."""
    try:
        return take_back_fact("/shift/questions")
    except Refusal as problem:
        return show_asked(Complaint.of(problem))
