"""Accepted counts that a clock dated ahead: they stand until what is true contradicts them.

A clock that was set wrong and right again leaves readings of a time still to come. While they
agree with what is reported since (the clock may be the one that is wrong now) they stay. As
soon as a true count beside them would look like a reset, or cannot be true, they are the ones
that are kept aside.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from crib.clock import CLOCK_TOLERANCE, instant_from_us, print_instant, us_from_instant
from crib.floor.count import Absorbed, KnownCounts
from crib.sentence import sentence
from crib.store.counts import Ahead, Counted, Refused, accepted_ahead
from crib.store.engine import Tx


def latest_us(present: datetime) -> int:
    """The last instant [µs] that a reading may be dated by now."""
    return us_from_instant(present + CLOCK_TOLERANCE)


def beside_what_is_past(
    tx: Tx,
    counter: Counted,
    present: datetime,
    known: KnownCounts,
    absorbed: Callable[[KnownCounts], Absorbed],
) -> tuple[KnownCounts, Absorbed, list[Refused]]:
    """Take a batch in beside what is known, or beside what is known up to now.

    Args:
        tx: An open transaction.
        counter: The counter.
        present: Now.
        known: Accepted readings around the batch.
        absorbed: Takes the batch in beside known readings.

    Returns:
        The known readings that it was taken in beside, what came of it, and the accepted
        readings that have to be kept aside for it: all of the machine that are dated ahead, or
        none.
    """
    taken = absorbed(known)
    limit_us = latest_us(present)
    if not known.at_us.size or known.at_us[-1] <= limit_us:
        return known, taken, []
    past = known.until(limit_us)
    anew = absorbed(past)
    contradicted = (
        len(anew.refused) < len(taken.refused) or anew.resets_seen < taken.resets_seen
    )
    ahead = accepted_ahead(tx, counter, limit_us) if contradicted else None
    if not ahead:
        return known, taken, []
    return past, anew, [_aside(one, present) for one in ahead]


def _aside(one: Ahead, present: datetime) -> Refused:
    at = print_instant(instant_from_us(one.at_us))
    reading: dict[str, object] = {"at": at, "count": one.said}
    if one.run_id is not None:
        reading["run"] = one.run_id
    return Refused(
        one.at_us,
        reading,
        "in_future",
        sentence(
            "{at} lies in the future (it is {present}), and counts reported since "
            "contradict it: it was taken in while a clock was wrong. Look at the "
            "counter, then accept it once its time has come, or discard it.",
            at=at,
            present=print_instant(present),
        ),
    )
