"""A person tells that a machine's counter is set, before or after the machine shows it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

from crib.acts.judge_count import book_waiting, is_count
from crib.acts.report_counts import absorb_into, fastest_between
from crib.acts.told_sets import begin_at, begins_at
from crib.acts.who_and_when import in_utc, record, who_and_when
from crib.clock import print_instant, us_from_instant
from crib.errors import Conflict, Invalid
from crib.floor.refused import LARGEST
from crib.floor.told_set import ToldSet
from crib.sentence import sentence
from crib.store.counts import Counted, counters_of, insert_batch, known_around, last_count
from crib.store.engine import Tx
from crib.store.resolve import machine_id_by_name
from crib.store.stations import runs_of
from crib.store.told_sets import insert_setting, waiting_sets
from crib.store.verdict_rows import doubted_after

#: A setting is announced at most so long before it is done.
LONGEST_AHEAD = timedelta(days=7)

#: Two announcements closer than this are one setting [µs]; common practice, no source.
_SAME_US = 3_600_000_000


@dataclass(frozen=True, slots=True)
class TellCounterSet:
    """The counter of a machine is set to a count at an instant; nothing is made by that.

    Attributes:
        machine: Name of the machine.
        count: What the counter is set to.
        by: Badge or code of the person who says so.
        at: When; it may lie ahead. None is now.
        path: Path whose counter it is; 0 where one counter counts for all.
    """

    machine: str
    count: int
    by: str | None = None
    at: datetime | None = None
    note: str | None = None
    path: int = 0


@dataclass(frozen=True, slots=True)
class CounterSetTold:
    """What was announced, and the outcome.

    Attributes:
        fact_id: The fact, by which it can be taken back.
        machine: The machine.
        at: When it was announced.
        set_at: When the counter is set.
        count: What it is set to.
        shown: Whether a count shows it already; else the next one that fits does.
        booked_later: Held counts that could be booked now.
        sentence: The outcome, for a person to read.
        on_record: Whether it had been announced before.
    """

    fact_id: int
    machine: str
    at: datetime
    set_at: datetime
    count: int
    shown: bool
    booked_later: int
    sentence: str
    on_record: bool = False


def tell_counter_set(tx: Tx, present: datetime, command: TellCounterSet) -> CounterSetTold:
    """Record that a counter is set: the next count that fits goes on from there.

    It is the verdict ``counter_set`` on a count still to come. Counts that were kept aside
    since the last one taken in are booked where they fit; while none does, nothing changes.

    Raises:
        Conflict: It was announced for another instant close by, or no such path counts.
        Invalid: Nobody is named, the count is none, or the instant is too far ahead.
        NotKnown: No such machine or person.
    """
    told = who_and_when(tx, present, replace(command, at=None))
    counter = Counted(machine_id_by_name(tx, command.machine), command.path)
    at = _instant(present, command)
    _refuse(tx, command, counter)
    setting = ToldSet(us_from_instant(at), command.count)
    before = _announced_before(tx, counter, setting)
    if before is not None:
        return _told(before, command, present, at, (False, 0), on_record=True)
    fact_id = record(tx, "count_verdict", told)
    insert_setting(
        tx,
        fact_id,
        counter,
        setting,
        sentence(
            "Announced: the counter is set to {count}. No parts are booked for the change.",
            count=command.count,
        ),
    )
    shown, later = _show(tx, fact_id, counter, setting)
    insert_batch(tx, fact_id, counter, accepted=shown + later, duplicates=0, refused=0)
    return _told(fact_id, command, present, at, (bool(shown), later))


def _instant(present: datetime, command: TellCounterSet) -> datetime:
    at = in_utc(command.at or present)
    if at > present + LONGEST_AHEAD or us_from_instant(at) < 0:
        raise Invalid(
            sentence(
                "{at} is too far ahead: announce it at most {days} days before.",
                at=print_instant(at),
                days=LONGEST_AHEAD.days,
            ),
            errors=[
                {
                    "field": "at",
                    "detail": sentence("at most {days} days ahead", days=LONGEST_AHEAD.days),
                }
            ],
        )
    return at


def _refuse(tx: Tx, command: TellCounterSet, counter: Counted) -> None:
    if command.by is None:
        raise Invalid(
            sentence("Say who announces it: a badge or code."),
            errors=[{"field": "by", "detail": sentence("is missing")}],
        )
    if not is_count(command.count):
        raise Invalid(
            sentence("A counter cannot be set to {count}.", count=str(command.count)[:30]),
            errors=[
                {"field": "count", "detail": sentence("from 0 to {largest}", largest=LARGEST)}
            ],
        )
    own = counters_of(tx, counter.machine_id)[0]
    if own and counter.path not in own:
        paths = ", ".join(map(str, own))
        raise Conflict(
            sentence(
                "{machine} has a part counter for each of the paths {paths}: say with "
                "path which one is set.",
                machine=command.machine,
                paths=paths,
            ),
            errors=[{"field": "path", "detail": sentence("is missing")}],
        )
    if counter.path and last_count(tx, counter) is None:
        raise Conflict(
            sentence(
                "No counter of path {path} of {machine} was ever read: leave the path "
                "out where one counter counts for all.",
                path=counter.path,
                machine=command.machine,
            ),
            errors=[{"field": "path", "detail": sentence("has no counter of its own")}],
        )


def _announced_before(tx: Tx, counter: Counted, setting: ToldSet) -> int | None:
    for one in waiting_sets(tx, counter):
        if one.told == setting:
            return one.fact_id
        near = abs(one.told.at_us - setting.at_us) <= _SAME_US
        if one.told.said == setting.said and near:
            raise Conflict(
                sentence(
                    "It was already announced that the counter is set to {said} (fact "
                    "{fact_id}), and no count shows it yet: take that back first.",
                    said=setting.said,
                    fact_id=one.fact_id,
                ),
                facts={"fact_id": one.fact_id},
                errors=[{"field": "count", "detail": sentence("was announced already")}],
            )
    return None


def _show(tx: Tx, fact_id: int, counter: Counted, setting: ToldSet) -> tuple[int, int]:
    """Restart counting where counts show it already; returns readings added and booked."""
    fastest = partial(fastest_between, runs_of(tx, counter.machine_id))
    known = known_around(tx, counter, setting.at_us, setting.at_us)
    if not known.at_us.size:
        return 0, 0
    since = int(known.at_us[0])
    waiting = [one for one in doubted_after(tx, counter, since) if is_count(one.count)]
    news = [(us_from_instant(one.at), int(one.count)) for one in waiting if one.at]
    at_us = begins_at(tx, counter, setting, news, fastest)
    if at_us is None:
        return 0, 0
    shown = begin_at(tx, fact_id, counter, at_us, setting.said, absorb_into)
    return shown, book_waiting(tx, fact_id, counter, at_us) if shown else 0


def _told(
    fact_id: int,
    command: TellCounterSet,
    present: datetime,
    set_at: datetime,
    done: tuple[bool, int],
    *,
    on_record: bool = False,
) -> CounterSetTold:
    shown, later = done
    if shown:
        text = sentence(
            "The counter of {machine} was set to {count}: no parts were made by "
            "that. {later} later counts are booked now.",
            machine=command.machine,
            count=command.count,
            later=later,
        )
    else:
        text = sentence(
            "The counter of {machine} is set to {count}. The next count that fits "
            "starts from there, and no parts are booked for the change.",
            machine=command.machine,
            count=command.count,
        )
    return CounterSetTold(
        fact_id=fact_id,
        machine=command.machine,
        at=present,
        set_at=set_at,
        count=command.count,
        shown=shown,
        booked_later=later,
        sentence=text,
        on_record=on_record,
    )
