"""What was decided for the unattended stretches ahead, and in which words it is told."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from crib.clock import print_instant
from crib.planning.night_options import IDLE, RUN, STAND, SWAP, UNTIL
from crib.sentence import Sentence, sentence
from crib.store.night_rows import NightChoiceRow
from crib.views.night_view import NightView


def decision_told(decided: Sequence[NightChoiceRow], one: NightView) -> Sentence | None:
    """What holds for a stretch: what was decided, or that nobody did.

    None where nobody decided and it has not begun, or nothing is to be decided.

    Args:
        decided: Decisions that stand, the newest first.
        one: The stretch.
    """
    chosen = decision_for(decided, one.night.machine, one.begin_at, one.end_at)
    if chosen is not None:
        return decision_sentence(chosen)
    return sentence("Nobody decided yet.") if _undecided(one) else None


def _undecided(one: NightView) -> bool:
    """Whether there was something to decide before a stretch in progress."""
    return one.night.begun and one.decision.option(RUN) is not None


#: What a decision means for the limit: kept or gone over; or nobody decided.
WITHIN, OVER, OPEN = "within", "over", "open"

#: Kinds of answers and decisions, the least careful first.
_CARE = (IDLE, RUN, SWAP, UNTIL, STAND)


def decision_state(decided: Sequence[NightChoiceRow], one: NightView) -> str | None:
    """Whether what was decided for a stretch keeps its limit.

    ``open`` where it is in progress and nobody decided; None where nobody has to yet.

    Args:
        decided: Decisions that stand, the newest first.
        one: The stretch.
    """
    kind = one.decision.kind
    chosen = decision_for(decided, one.night.machine, one.begin_at, one.end_at)
    if chosen is None:
        return OPEN if _undecided(one) else None
    if kind not in _CARE or chosen.choice not in _CARE:
        return OVER
    stop = one.chosen.until_at if one.chosen else None
    if chosen.choice == kind == UNTIL and chosen.until and stop:
        return WITHIN if chosen.until <= stop else OVER
    return WITHIN if _CARE.index(chosen.choice) >= _CARE.index(kind) else OVER


def decision_for(
    decided: Sequence[NightChoiceRow], machine: str, begin_at: datetime, end_at: datetime
) -> NightChoiceRow | None:
    """The newest decision for a stretch; None where nobody decided.

    A calendar may have moved its ends since: a decision is for the stretch that it shares time
    with.

    Args:
        decided: Decisions that stand, the newest first.
        machine: Name of the machine.
        begin_at: Begin of the stretch.
        end_at: Its end.
    """
    return next(
        (
            one
            for one in decided
            if one.machine == machine and one.begins_at < end_at and begin_at < one.ends_at
        ),
        None,
    )


def decision_sentence(one: NightChoiceRow) -> Sentence:
    """Who decided what, and when."""
    at, by = print_instant(one.at), one.by or sentence("somebody")
    if one.choice == RUN:
        return sentence("Decided {at} by {by}: run as it is.", at=at, by=by)
    if one.choice == SWAP:
        return sentence("Decided {at} by {by}: run after the swaps.", at=at, by=by)
    if one.choice == UNTIL and one.until is not None:
        return sentence(
            "Decided {at} by {by}: run until {until}.",
            at=at,
            by=by,
            until=print_instant(one.until),
        )
    return sentence("Decided {at} by {by}: let it stand.", at=at, by=by)
