"""What machines say of themselves: feeds and gaps, held counts, questions, breakages."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask_smorest import Blueprint
from marshmallow import fields

from api.http.operation import Call, Reply, reads, writes
from api.schemas.feeds import (
    BreakageBody,
    CounterSettingBody,
    DismissalBody,
    GapsQuery,
    MachineQuery,
    VerdictBody,
)
from api.schemas.fields import Problems, Shape, Whole
from api.schemas.questions import QuestionShape
from api.schemas.records import page_shape
from api.schemas.results import shape_from
from crib.acts.dismiss_question import (
    DismissQuestion,
    QuestionDismissed,
    dismiss_question,
)
from crib.acts.judge_count import CountJudged, JudgeCount, judge_count
from crib.acts.questions import list_questions
from crib.acts.signal_breakage import BreakageSignalled, SignalBreakage, signal_breakage
from crib.acts.tell_counter_set import CounterSetTold, TellCounterSet, tell_counter_set
from crib.store.resolve import machine_id_by_name
from crib.views.gap_resets import GapShown
from crib.views.show_feeds import FeedShown, list_gaps_shown, show_feeds

blueprint = Blueprint("feeds", __name__, description="What machines say of themselves.")

FeedShape = shape_from(FeedShown, "FeedShape", leave_out=("machine_id",))
GapShape = shape_from(GapShown, "GapShape")
DismissalShape = shape_from(QuestionDismissed, "DismissalShape", rename={"fact_id": "fact"})
VerdictShape = shape_from(CountJudged, "VerdictShape", rename={"fact_id": "fact"})
CounterSettingShape = shape_from(
    CounterSetTold, "CounterSettingShape", rename={"fact_id": "fact"}, leave_out=("on_record",)
)
BreakageShape = shape_from(
    BreakageSignalled, "BreakageShape", rename={"fact_id": "fact", "mount_id": "mount"}
)


def _asked_machine(call: Call) -> int | None:
    name = call.query.get("machine")
    return None if name is None else machine_id_by_name(call.tx, name)


class FeedsPage(Shape):
    """The feeds of machines."""

    items = fields.List(fields.Nested(FeedShape), required=True)
    next = Whole(allow_none=True, required=True)
    problems = Problems()


@reads(blueprint, "/v1/feeds", FeedsPage(), query=MachineQuery())
def list_feeds(call: Call) -> dict[str, Any]:
    """List the data of each machine: how late it comes, its gaps, and how fast it cuts."""
    found = show_feeds(call.tx, call.present, _asked_machine(call))
    return {"items": found, "next": None, "problems": found.problems}


class GapsPage(page_shape(GapShape)):  # type: ignore[misc]
    """Gaps, the one found last first."""

    problems = Problems()


@reads(blueprint, "/v1/feed-gaps", GapsPage(), query=GapsQuery())
def list_feed_gaps(call: Call) -> dict[str, Any]:
    """List gaps in the data of machines, the newest first."""
    since = call.present - timedelta(hours=call.query["hours"])
    found = list_gaps_shown(call.tx, since, call.query["limit"], _asked_machine(call))
    return {"items": found, "next": None, "problems": found.problems}


class QuestionsPage(page_shape(QuestionShape)):  # type: ignore[misc]
    """Open questions, breakages first."""

    problems = Problems()


@reads(blueprint, "/v1/questions", QuestionsPage(), query=MachineQuery())
def read_questions(call: Call) -> dict[str, Any]:
    """List questions to people: which tool broke, and which tool is in a station."""
    found = list_questions(call.tx, call.present, _asked_machine(call))
    return {"items": found, "next": None, "problems": found.problems}


@writes(blueprint, "/v1/question-dismissals", DismissalShape(), body=DismissalBody())
def post_question_dismissal(call: Call) -> Reply:
    """Dismiss a question until the machine names the tool again."""
    done = dismiss_question(call.tx, call.present, DismissQuestion(**call.body))
    return Reply(done, headers={"Location": f"/v1/question-dismissals/{done.fact_id}"})


@writes(blueprint, "/v1/count-verdicts", VerdictShape(), body=VerdictBody(), problems=(403,))
def post_count_verdict(call: Call) -> Reply:
    """Accept or discard a held count, or say that the counter was set.

    ``counter_set`` books no parts; held counts after it are booked where they fit.
    """
    done = judge_count(call.tx, call.present, JudgeCount(**call.body))
    return Reply(done, headers={"Location": f"/v1/count-verdicts/{done.fact_id}"})


@writes(
    blueprint,
    "/v1/counter-settings",
    CounterSettingShape(),
    body=CounterSettingBody(),
    again=True,
)
def post_counter_setting(call: Call) -> Reply:
    """Announce that a counter is set, before or after: no parts are booked for it.

    The next count that fits goes on from there. While none does, nothing changes.
    """
    done = tell_counter_set(call.tx, call.present, TellCounterSet(**call.body))
    if done.on_record:
        return Reply(done, 200)
    return Reply(done, headers={"Location": f"/v1/count-verdicts/{done.fact_id}"})


@writes(blueprint, "/v1/breakages", BreakageShape(), body=BreakageBody(), again=True)
def post_breakage(call: Call) -> Reply:
    """Signal that an edge broke: parts made after it are not charged to it."""
    done = signal_breakage(call.tx, call.present, SignalBreakage(**call.body))
    if done.fact_id is None:
        return Reply(done, 200)
    return Reply(done, headers={"Location": f"/v1/breakages/{done.fact_id}"})
