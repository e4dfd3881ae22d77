"""The feeds of all machines in a table, and what machines say that the records do not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from flask import Blueprint, Response

from api.http.site import once, this_site
from api.language import _, mark
from api.pages.render import page
from crib.acts.question import Question
from crib.acts.questions import list_questions
from crib.acts.unclear_breakages import unclear_breakages
from crib.store.feeds import FeedRow
from crib.store.heard_rows import heard_machines, states_now
from crib.store.resolve import machine_id_by_name
from crib.store.verdict_rows import count_waiting
from crib.views.feed_process import feed_process
from crib.views.show_feeds import feed_states, show_feeds

blueprint = Blueprint("feeds_heard", __name__)

#: Where a feed comes from, as a person says it.
SOURCES = {
    "mtconnect": mark("read from its agent"),
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
_STATIC = Path(__file__).parents[2] / "static"
#: Why something was missed.
GAPS = {
    "restarted": mark("the agent restarted"),
    "overrun": mark("the agent did not keep it long enough"),
    "queue": mark("the broker may have dropped counts while crib feed was away"),
    "session": mark("the broker kept no counts while crib feed was away"),
    "breakages_queue": mark("the broker may have dropped breakages: look at the tools"),
    "breakages_session": mark("the broker kept no breakages: look at the tools"),
    "other_counter": mark("another counter is read; it starts from its own count"),
    "long_pause": mark("over three days without a count; it may be another counter"),
}


@dataclass(frozen=True, slots=True)
class FeedTrouble:
    """What keeps counts from coming in.

    Attributes:
        process: What is wrong with the process that follows the machines, and what to do.
        machines: Those with which something is wrong, by name.
    """

    process: str | None
    machines: Mapping[str, FeedRow]


@blueprint.app_context_processor
def _words() -> dict[str, object]:
    return {
        "machine_questions": machine_questions,
        "feed_trouble": feed_trouble,
        "broken_somewhere": broken_somewhere,
        "why_stands": why_stands,
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


@once
def feed_trouble() -> FeedTrouble:
    """What keeps counts from coming in now, for the page that is made."""
    site = this_site()
    with site.store.read() as tx:
        process = feed_process(tx, site.clock())
        rows = feed_states(tx, site.clock())
    ill = {one.machine: one for one in rows if one.problem}
    return FeedTrouble(None if process.works else process.problem, ill)


@once
def _broken() -> set[str | None]:
    """Machines of which a tool broke, and nobody knows which."""
    return {one.machine for one in broken_somewhere()}


@once
def _not_cutting() -> dict[str, str]:
    """What machines that do not cut said last of themselves, by name."""
    with this_site().store.read() as tx:
        said = states_now(tx)
        names = {one.id: one.machine for one in heard_machines(tx)}
    return {
        names[machine_id]: state.value
        for machine_id, states in said.items()
        for state in states
        if machine_id in names
        and state.kind == "EXECUTION"
        and state.value
        and state.value != "ACTIVE"
    }


def why_stands(machine: str) -> str | None:
    """Why a machine makes no parts, as far as it said so itself."""
    if machine in _broken():
        return _("a tool broke, and nobody knows which")
    state = _not_cutting().get(machine)
    return None if state is None else _execution(state)


def broken_somewhere() -> list[Question]:
    """Breakages of nobody knows which tool."""
    with this_site().store.read() as tx:
        return unclear_breakages(tx)


def machine_questions(machine: str) -> list[Question]:
    """What a machine says of its stations that the records do not."""
    site = this_site()
    with site.store.read() as tx:
        return list_questions(tx, site.clock(), machine_id_by_name(tx, machine))


@blueprint.get("/shift/feeds")
def show_heard() -> Response:
    """The data of every machine, its gaps, and open questions."""
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


@blueprint.get("/shift/feeds/without-agent")
def show_without_agent() -> Response:
    """How a machine without an agent is followed, with a program that does it."""
    program = (_STATIC / "pulse_counter.py").read_text(encoding="utf-8")
    return page("feeds_without_agent.html", program=program)
