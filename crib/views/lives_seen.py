"""The lives of a key: how each ended, how far it is doubted, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from crib.clock import instant_from_us
from crib.errors import Conflict, NotKnown
from crib.life.doubted import ABSURD_AGE, OTHER_ENDING, TWO_LIVES
from crib.life.observations import BROKEN, CENSORED, WORN
from crib.outlook.shop_plan import ShopPlan
from crib.sentence import sentence

ENDED = {WORN: "worn", BROKEN: "broken", CENSORED: "taken_out_early"}

_INSTEAD = {
    WORN: sentence("perhaps it was worn out"),
    BROKEN: sentence("perhaps it broke"),
    CENSORED: sentence("perhaps it still cut well"),
}
_TWO = sentence("perhaps two edges: one was turned without a record")


@dataclass(frozen=True, slots=True)
class LifeSeen:
    """One edge's life, over.

    Attributes:
        wear: Wear units reached; 1 is the promised life.
        parts: Parts made.
        ended: worn, broken or taken_out_early.
        assembly: Code of the tool.
        removal: The removal that ended it.
        at: When that was.
        reason: Its reason as recorded.
        believed: Chance that the record is right as it was written.
        doubted: Whether that is below three in four.
        left_out: Whether its age is so odd that the forecast leaves it out.
        why: What speaks against it, for a person to read; empty where next to nothing does.
        confirmed: Whether a person said that it is right.
    """

    wear: float
    parts: int
    ended: str
    assembly: str
    removal: int | None
    at: datetime
    reason: str
    believed: float
    doubted: bool
    left_out: bool
    why: str
    confirmed: bool


def lives_of_key(plan: ShopPlan, index: int) -> tuple[LifeSeen, ...]:
    """The lives of a key, in the order in which they ended.

    Args:
        plan: The shop's plan.
        index: Row of the key.
    """
    lives, doubts = plan.histories, plan.model.doubts()
    absurd = {one.row: one.short for one in plan.model.aside}
    found = []
    for row in np.flatnonzero(lives.key_index == index).tolist():
        why, stay = int(doubts.why[row]), plan.expected.lives.ended[row].row
        said = ""
        if why == ABSURD_AGE:
            said = absurd[row]
        elif why == TWO_LIVES:
            said = _TWO
        elif why == OTHER_ENDING:
            said = _INSTEAD[int(doubts.instead[row])]
        found.append(
            LifeSeen(
                float(lives.wear[row]),
                int(lives.parts[row]),
                ENDED[int(lives.ended[row])],
                plan.shop.rows.assemblies[stay.assembly_id].code,
                stay.removal_id,
                instant_from_us(stay.end_us or 0),
                stay.reason or "",
                float(doubts.believed[row]),
                bool(doubts.doubted[row]),
                why == ABSURD_AGE,
                said,
                bool(lives.sure[row]),
            )
        )
    return tuple(found)


def check_shown_life(plan: ShopPlan, removal: int, parts: int) -> None:
    """Check that a life still is as a person saw it.

    Args:
        plan: The shop's plan.
        removal: The removal that ended it.
        parts: Parts of its edge, as they were shown.

    Raises:
        Conflict: The edge made another number of parts.
        NotKnown: That removal ended no life that the forecast knows.
    """
    ended = [stay.row.removal_id for stay in plan.expected.lives.ended]
    if removal not in ended:
        raise NotKnown(
            sentence(
                "Removal {removal} ended no life that counts: the edge goes on, or its wear "
                "is not known.",
                removal=removal,
            ),
            facts={"removal": removal},
        )
    now = int(plan.histories.parts[ended.index(removal)])
    if now != parts:
        raise Conflict(
            sentence(
                "That edge made {now} parts by the records, not {parts}. Look at it again.",
                now=now,
                parts=parts,
            ),
            facts={"parts": now},
        )
