"""The feeds of all machines in a table, and what machines say that the records do not."""

from __future__ import annotations

from flask import Blueprint, Response

from api.http.site import this_site
from api.language import _, mark
from api.pages.render import page
from crib.store.resolve import machine_id_by_name
from crib.store.verdict_rows import count_waiting
from crib.usecases.questions import Question, list_questions
from crib.usecases.show_feeds import show_feeds

blueprint = Blueprint("feeds_heard", __name__)

#: Where a feed comes from, as a person says it.
SOURCES = {
    "mtconnect": mark("asked from its agent"),
    "mqtt": mark("sent by a broker"),
    "folder": mark("dropped as files"),
    "http": mark("posted to this service"),
}
#: What the execution states of the open standard mean on the floor.
EXECUTIONS = {
    "ACTIVE": mark("cutting"),
    "READY": mark("ready, not cutting"),
    "INTERRUPTED": mark("interrupted"),
    "WAIT": mark("waiting"),
    "FEED_HOLD": mark("feed hold"),
    "STOPPED": mark("stopped"),
    "OPTIONAL_STOP": mark("optional stop"),
    "PROGRAM_STOPPED": mark("stopped by its program"),
    "PROGRAM_COMPLETED": mark("program done"),
    "PROGRAM_OPTIONAL_STOP": mark("optional stop of its program"),
}
#: Why something was missed.
GAPS = {
    "restarted": mark("the agent began anew"),
    "overrun": mark("the agent kept it too briefly"),
}


@blueprint.app_context_processor
def _words() -> dict[str, object]:
    return {
        "machine_questions": machine_questions,
        "source_word": _source,
        "execution_word": _execution,
        "gap_word": _gap,
    }


def _source(name: str) -> str:
    return _(SOURCES.get(name, name))


def _execution(name: str | None) -> str:
    return _(EXECUTIONS.get(name, name)) if name else _("unknown")


def _gap(reason: str) -> str:
    return _(GAPS.get(reason, reason))


def machine_questions(machine: str) -> list[Question]:
    """What a machine says of its stations that the records do not."""
    site = this_site()
    with site.store.read() as tx:
        return list_questions(tx, site.clock(), machine_id_by_name(tx, machine))


@blueprint.get("/shift/feeds")
def show_heard() -> Response:
    """What is heard of every machine, what was missed, what is asked."""
    site = this_site()
    present = site.clock()
    with site.store.read() as tx:
        return page(
            "feeds.html",
            feeds=show_feeds(tx, present),
            questions=list_questions(tx, present),
            waiting=count_waiting(tx),
            now=present,
        )
