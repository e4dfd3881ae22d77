"""The counter of a machine: its last count, and what a person tells that it is set to."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from flask import Blueprint, Response

from api.http.site import this_site
from api.language import _
from api.pages.acts import Complaint, act, typed
from api.pages.machine.mount import whole_number
from api.pages.machine.overview import machine_page
from api.pages.machine.places import machine_address
from crib.acts.tell_counter_set import TellCounterSet, tell_counter_set
from crib.clock import instant_from_us
from crib.errors import Invalid, Refusal
from crib.store.counts import Counted, counters_of, last_count
from crib.store.engine import Tx
from crib.store.path_counts import main_counter
from crib.store.resolve import machine_id_by_name
from crib.store.told_sets import waiting_sets

blueprint = Blueprint("machine_counter", __name__)


class CounterShown(NamedTuple):
    """A count of the machine, or what its counter is to be set to, and when."""

    said: int
    at: datetime


class CounterNow(NamedTuple):
    """The last count of a machine, the settings that no count shows yet, paths that count."""

    last: CounterShown | None
    waiting: list[CounterShown]
    paths: list[int]


@blueprint.app_context_processor
def _words() -> dict[str, object]:
    return {"counter_now": counter_now}


def counter_now(machine: str) -> CounterNow:
    """What the counter of a machine shows, and what it was announced to be set to."""
    with this_site().store.read() as tx:
        counter = main_counter(tx, machine_id_by_name(tx, machine))
        last = last_count(tx, counter)
        paths = list(counters_of(tx, counter.machine_id)[0])
        told = [
            one.told
            for path in paths or [counter.path]
            for one in waiting_sets(tx, Counted(counter.machine_id, path))
        ]
    return CounterNow(
        last and CounterShown(last[1], instant_from_us(last[0])),
        [CounterShown(one.said, instant_from_us(one.at_us)) for one in told],
        paths,
    )


@blueprint.post("/machines/<machine>/counter")
def tell_set(machine: str) -> Response:
    """Record that the counter is set, or show why not with what was typed."""
    given = typed()

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        count = whole_number(given, "count")
        if count is None:
            raise Invalid(
                _("Type what the counter is set to."),
                errors=[{"field": "count", "detail": _("is missing")}],
            )
        path = whole_number(given, "path") or 0
        told = TellCounterSet(machine, count, by, note=given.get("note"), path=path)
        tell_counter_set(tx, present, told)
        return f"{machine_address(machine)}#counter"

    try:
        return act(work)
    except Refusal as refusal:
        return machine_page(machine, Complaint.of(refusal), given)
