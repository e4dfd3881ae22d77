"""A person says of a count that was kept aside: it is true, or it is not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from crib.acts.report_counts import absorb_into, fastest_between, take_as_true
from crib.acts.who_and_when import WhoAndWhen, record, who_and_when
from crib.clock import instant_from_us, print_instant, us_from_instant
from crib.errors import Conflict, Invalid, NotAllowed, NotKnown
from crib.floor.count import Absorbed
from crib.floor.counter import pace_of, steps
from crib.floor.line import SET, Line
from crib.floor.refused import LARGEST
from crib.records.catalogue import PEOPLE
from crib.sentence import sentence, word
from crib.store.counts import Counted, insert_batch, known_around, parts_per_cycle, renumber
from crib.store.engine import Tx
from crib.store.records import get_record
from crib.store.resolve import resolve_person
from crib.store.stations import runs_of
from crib.store.verdict_rows import (
    TOLD,
    KeptAside,
    delete_reading,
    doubted_after,
    insert_booked_later,
    insert_verdict,
    judged_by_fact,
    kept_aside,
    leave_unexplained,
    readings_of_fact,
)

ACCEPTED, DISCARDED, COUNTER_SET = "accepted", "discarded", "counter_set"
VERDICTS = (ACCEPTED, DISCARDED, COUNTER_SET)

#: Reasons that a reading cannot be taken for, whatever anybody says.
_NO_READING = frozenset({"not_whole", "negative", "too_large", "too_old", TOLD})


@dataclass(frozen=True, slots=True)
class JudgeCount:
    """Judge a count that was kept aside.

    Attributes:
        refusal: Its number among the refused counts.
        verdict: ``accepted``, ``discarded`` or ``counter_set``.
        by: Badge or code of the supervisor who says so.
    """

    refusal: int
    verdict: str
    by: str | None = None
    at: datetime | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class CountJudged:
    """What became of a count that was kept aside.

    Attributes:
        fact_id: The verdict.
        refusal: The count's number among the refused counts.
        verdict: ``accepted``, ``discarded`` or ``counter_set``.
        machine: Its machine.
        at: When the verdict was given.
        count: What the counter said, as received.
        counted_at: When the counter said it; None where that could not be read.
        total: Parts that the machine made up to it since its first reading; None where it
            was discarded.
        sentence: The outcome, for a person to read.
        booked_later: Held counts after it that could be booked now, since the counter
            had been set.
    """

    fact_id: int
    refusal: int
    verdict: str
    machine: str
    at: datetime
    count: object
    counted_at: datetime | None
    total: int | None
    sentence: str
    booked_later: int = 0


def judge_count(tx: Tx, present: datetime, command: JudgeCount) -> CountJudged:
    """Take a count in as true, leave it out for good, or say that the counter had been set.

    A counter that was set counts on from there: the step to that count made nothing, and what
    was kept aside after it is booked where it fits now. All of it can be taken back.

    Raises:
        Conflict: It was judged before, or contradicts an accepted count of the same instant.
        Invalid: No such verdict, or what was kept aside is no reading.
        NotAllowed: The person who decides is not a supervisor.
        NotKnown: No count of that number was kept aside.
    """
    told = who_and_when(tx, present, command)
    _refuse_person(tx, command.by)
    if command.verdict not in VERDICTS:
        raise Invalid(
            sentence("A verdict is 'accepted', 'discarded' or 'counter_set'."),
            errors=[
                {
                    "field": "verdict",
                    "detail": sentence("is not accepted, discarded or counter_set"),
                }
            ],
        )
    found = kept_aside(tx, command.refusal) if 0 < command.refusal < 1 << 53 else None
    if found is None:
        raise NotKnown(
            sentence("There is no held count number {refusal}.", refusal=command.refusal),
            facts={"refusal": command.refusal},
            errors=[{"field": "refusal", "detail": sentence("is not a held count")}],
        )
    if found.verdict_id is not None:
        raise Conflict(
            sentence(
                "That count was {verdict} already (fact {verdict_id}): take that back first.",
                verdict=word(str(found.verdict)),
                verdict_id=found.verdict_id,
            ),
            facts={"fact_id": found.verdict_id, "verdict": found.verdict},
        )
    if command.verdict == DISCARDED:
        fact_id = record(tx, "count_verdict", told)
        insert_verdict(tx, fact_id, found.id, DISCARDED)
        return _judged(fact_id, told, found, None)
    return _accept(tx, told, found, command.verdict)


def take_back_verdict(tx: Tx, verdict_id: int, reversal_id: int) -> str:
    """Undo a verdict whose reversal is on record; returns the outcome, for a person.

    A count that was accepted is taken out, and the step that it divided is one again.
    """
    found, verdict = judged_by_fact(tx, verdict_id)
    if found.reason == TOLD:
        _take_out_all(tx, verdict_id, reversal_id, found.counter)
        return sentence(
            "The notice that the counter of {machine} was set is withdrawn.",
            machine=found.machine,
        )
    if verdict == DISCARDED:
        return sentence(
            "Count {count} of {machine} waits for a decision again.",
            count=found.count,
            machine=found.machine,
        )
    _take_out_all(tx, verdict_id, reversal_id, found.counter)
    return sentence(
        "Count {count} of {machine} is held again. The parts counted after it are corrected.",
        count=found.count,
        machine=found.machine,
    )


def _take_out_all(tx: Tx, verdict_id: int, reversal_id: int, counter: Counted) -> None:
    at_us = readings_of_fact(tx, verdict_id)
    for one in at_us:
        _take_out(tx, counter, one)
    # readings less, so that readings kept in memory are read again
    insert_batch(tx, reversal_id, counter, accepted=-len(at_us), duplicates=0, refused=0)


def _refuse_person(tx: Tx, by: str | None) -> None:
    if by is None:
        raise Invalid(
            sentence("Say who decides on the count: a supervisor's badge or code."),
            errors=[{"field": "by", "detail": sentence("is missing")}],
        )
    known = get_record(tx, PEOPLE, resolve_person(tx, by).id)
    if known["role"] != "supervisor":
        raise NotAllowed(
            sentence(
                "{name} is {role} here: only a supervisor decides on held counts.",
                name=known["name"],
                role=word(known["role"]),
            ),
            facts={"role": known["role"]},
            errors=[{"field": "by", "detail": sentence("is not a supervisor")}],
        )


def _accept(tx: Tx, told: WhoAndWhen, found: KeptAside, verdict: str) -> CountJudged:
    count, at = found.count, found.at
    if found.reason in _NO_READING or at is None or not is_count(count):
        raise Invalid(
            sentence(
                "'{count}' of {machine} cannot be accepted: it is not a count with a "
                "time. Discard it, and report the counter by hand.",
                count=str(count)[:30],
                machine=found.machine,
            ),
            errors=[{"field": "verdict", "detail": sentence("can only be discarded")}],
        )
    if at > told.present:
        raise Conflict(
            sentence(
                "Count {count} is dated {at}, in the future: discard it, and report it "
                "with the right time.",
                count=count,
                at=print_instant(at),
            ),
            facts={"at": print_instant(at)},
        )
    fact_id = record(tx, "count_verdict", told)
    insert_verdict(tx, fact_id, found.id, verdict)
    at_us, later = us_from_instant(at), 0
    if verdict == ACCEPTED:
        taken = take_as_true(tx, fact_id, found.counter, at_us, count)
    else:
        taken, later = _set_to(tx, fact_id, found, at_us, count)
    if taken.refused:
        raise Conflict(taken.refused[0].sentence, facts={"at": print_instant(at)})
    if not taken.total.size:
        raise Conflict(
            sentence(
                "Count {count} of {machine} at {at} was booked already: discard the held one.",
                count=count,
                machine=found.machine,
                at=print_instant(at),
            ),
            facts={"at": print_instant(at)},
        )
    return _judged(fact_id, told, found, int(taken.total[0]), verdict, later)


def _set_to(
    tx: Tx, fact_id: int, found: KeptAside, at_us: int, count: int
) -> tuple[Absorbed, int]:
    """Begin a new baseline, and book what was kept aside after it and fits now."""
    counter = found.counter
    when, said_by_it = np.array([at_us], dtype=np.int64), np.array([count], dtype=np.int64)
    _refuse_unlike_next(tx, found, at_us, count)
    taken = absorb_into(tx, fact_id, counter, when, said_by_it, believed=True, starts=SET)
    if not taken.index.size:
        return taken, 0
    later = book_waiting(tx, fact_id, counter, at_us)
    insert_batch(tx, fact_id, counter, accepted=1 + later, duplicates=0, refused=0)
    return taken, later


def book_waiting(tx: Tx, fact_id: int, counter: Counted, at_us: int) -> int:
    """Book what was kept aside since a counter was set and fits now; how many that is."""
    waiting = [one for one in doubted_after(tx, counter, at_us) if is_count(one.count)]
    if not waiting:
        return 0
    times = [us_from_instant(one.at) for one in waiting if one.at is not None]
    counts = np.array([one.count for one in waiting], dtype=np.int64)
    more = absorb_into(tx, fact_id, counter, np.array(times, dtype=np.int64), counts)
    later = [waiting[place].id for place in more.index.tolist()]
    insert_booked_later(tx, fact_id, later)
    return len(later)


def _refuse_unlike_next(tx: Tx, found: KeptAside, at_us: int, count: int) -> None:
    """Refuse a set counter from which the accepted count after it could not be reached."""
    known = known_around(tx, found.counter, at_us, at_us)
    after = int(np.searchsorted(known.at_us, at_us, side="right"))
    if after >= known.at_us.size or known.starts[after] == SET:
        return
    begin, end = np.array([at_us]), known.at_us[[after]]
    fastest = fastest_between(runs_of(tx, found.counter.machine_id), begin, end)
    pace = pace_of(fastest, 1, parts_per_cycle(tx, found.counter))
    step = steps(np.array([count]), known.count[[after]], end - begin, pace)
    if not step.plausible[0]:
        at = print_instant(instant_from_us(int(end[0])))
        raise Conflict(
            sentence(
                "Count {count} at {at} is accepted and cannot be reached from {count2}: "
                "the counter was not set to that, or not then.",
                count=known.count[after],
                at=at,
                count2=count,
            ),
            facts={"at": at, "count": int(known.count[after])},
        )


def is_count(count: object) -> bool:
    """Whether a value is a count that a counter can show."""
    return isinstance(count, int) and not isinstance(count, bool) and 0 <= count <= LARGEST


def _judged(
    fact_id: int,
    told: WhoAndWhen,
    found: KeptAside,
    total: int | None,
    verdict: str = DISCARDED,
    later: int = 0,
) -> CountJudged:
    if verdict == COUNTER_SET:
        text = sentence(
            "The counter of {machine} was set to {count}: no parts were made by "
            "that. {later} later counts are booked now.",
            machine=found.machine,
            count=found.count,
            later=later,
        )
    elif total is None:
        text = sentence(
            "Count {count} of {machine} is discarded: no parts are booked from it.",
            count=found.count,
            machine=found.machine,
        )
    else:
        text = sentence(
            "Count {count} of {machine} is accepted. The parts counted after it are corrected.",
            count=found.count,
            machine=found.machine,
        )
    return CountJudged(
        fact_id=fact_id,
        refusal=found.id,
        verdict=verdict,
        machine=found.machine,
        at=told.at,
        count=found.count,
        counted_at=found.at,
        total=total,
        sentence=text,
        booked_later=later,
    )


def _take_out(tx: Tx, counter: Counted, at_us: int) -> None:
    """Take a reading out; later ones keep their steps, the step across it is recomputed."""
    known = known_around(tx, counter, at_us, at_us)
    delete_reading(tx, counter, at_us)
    place = int(np.searchsorted(known.at_us, at_us))
    if place + 1 >= known.at_us.size:
        return  # nothing lies after it
    life, total = 0, int(known.count[place + 1])
    if place > 0:
        runs = runs_of(tx, counter.machine_id)
        fastest = fastest_between(runs, known.at_us[[place - 1]], known.at_us[[place + 1]])
        both = np.array([place - 1, place + 1])
        pace = pace_of(np.repeat(fastest, 2), 2, parts_per_cycle(tx, counter))
        line = Line(
            known.at_us[both], known.count[both], known.source[both], known.starts[both], pace
        )
        step = line.between(np.array([0]), np.array([1]))
        made, drop = int(step.parts[0]), int(step.kind[0] > 0)
        if not step.plausible[0]:  # what explained it is gone: nothing is charged for it
            made, drop = 0, 1
            leave_unexplained(tx, counter, int(known.at_us[place + 1]))
        life = int(known.life[place - 1]) + drop
        total = int(known.total[place - 1]) + made
    tail_us = int(known.at_us[place + 1])
    shift = (tail_us - 1, life - int(known.life[-1]), total - int(known.total[-1]))
    none = np.empty(0, dtype=np.int64)
    renumber(tx, counter, none, none, none, shift)
