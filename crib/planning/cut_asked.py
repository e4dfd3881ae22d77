"""What speed or feed a station's cut would need for a wanted life: the program asked backwards.

All speeds (or feeds) of the edge's operations are scaled alike; the spindle's limits hold as
they do in the program, so that a faster program may cut no faster. What a part takes from the
edge under the scaled cut follows from the same functions as the forecast.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats
from crib.cutting.engagement import Engagement, engage
from crib.cutting.operations import CutOperation, SpeedLimits
from crib.errors import OutsideModel
from crib.life.taylor import TaylorConstants
from crib.life.wear import wear_per_part
from crib.sentence import figure, sentence

SPEED: Final = "speed"
FEED: Final = "feed"

#: How far a cut is scaled at most: beyond, the curve is no more than a guess.
MOST_TIMES: Final = 3.0

#: Feed is the pitch there: it cannot be chosen.
PITCHED: Final = ("thread", "tap")

_HALVINGS: Final = 32


@dataclass(frozen=True, slots=True)
class CutTaken:
    """What a part takes from an edge under a scaled cut.

    Attributes:
        wear: Wear units per part.
        minutes: Minutes in cut per part.
        cutting_speed_m_min: Real speed of the operation that wears most; None: not known.
        spindle_rpm: Its fastest spindle speed; None: not known.
        limited_by: Whose limit holds it there.
        feed_mm_rev: Its feed; None: not known.
        depth_mm: Its depth; None: it has none.
    """

    wear: float
    minutes: float
    cutting_speed_m_min: float | None
    spindle_rpm: float | None
    limited_by: str | None
    feed_mm_rev: float | None
    depth_mm: float | None


def cut_taken(
    operations: Sequence[CutOperation],
    limits: SpeedLimits,
    constants: TaylorConstants,
    change: str,
    times: float,
) -> CutTaken:
    """What a part takes with all speeds, or all feeds, so many times as high.

    Args:
        operations: What the edge cuts.
        limits: Greatest spindle speeds.
        constants: The curve.
        change: ``speed`` or ``feed``.
        times: Factor on the program's.

    Raises:
        OutsideModel: A cut of which time or speed is not known.
    """
    cuts = [_engaged(one, limits, constants.n, change, times) for one in operations]
    wears = [wear_per_part([cut], constants) for cut in cuts]
    most = cuts[int(np.argmax(wears))]
    return CutTaken(
        sum(wears),
        sum(cut.engaged_min for cut in cuts),
        most.cutting_speed_m_min,
        most.spindle_rpm,
        most.limited_by,
        most.feed_mm_rev,
        most.depth_mm,
    )


def _engaged(
    operation: CutOperation, limits: SpeedLimits, n: float, change: str, times: float
) -> Engagement:
    if times == 1 or (change == FEED and operation.kind in PITCHED):
        return engage(operation, limits, n)
    if change == FEED:
        feed, seconds = operation.feed_mm_rev, operation.engaged_s
        return engage(
            replace(
                operation,
                feed_mm_rev=None if feed is None else feed * times,
                engaged_s=None if seconds is None else seconds / times,
            ),
            limits,
            n,
        )
    if operation.cutting_speed_m_min is not None:
        faster = replace(operation, cutting_speed_m_min=operation.cutting_speed_m_min * times)
    elif operation.spindle_rpm is not None:
        faster = replace(operation, spindle_rpm=operation.spindle_rpm * times)
    else:
        return engage(operation, limits, n)
    if operation.engaged_s is not None:
        # measured seconds go with the speed that is really reached
        before = engage(operation, limits, n).cutting_speed_m_min
        after = engage(faster, limits, n).cutting_speed_m_min
        if before and after:
            faster = replace(faster, engaged_s=operation.engaged_s * before / after)
    return engage(faster, limits, n)


def refuse_fixed(operations: Sequence[CutOperation], change: str) -> None:
    """Refuse to ask for what the operations do not leave open.

    Raises:
        OutsideModel: Every feed is a pitch, or no operation has a feed or a speed.
    """
    if change == FEED and all(one.kind in PITCHED for one in operations):
        raise OutsideModel(
            sentence("This edge cuts a thread: its feed is the pitch. Ask for a speed.")
        )
    if change == FEED and any(
        one.feed_mm_rev is None for one in operations if one.kind not in PITCHED
    ):
        raise OutsideModel(sentence("An operation of this edge has no feed. Fill one in."))
    if change == SPEED and any(
        one.cutting_speed_m_min is None and one.spindle_rpm is None for one in operations
    ):
        raise OutsideModel(sentence("An operation of this edge has no speed. Fill one in."))


def times_for(
    life: Callable[[Floats], Floats], wanted: float, rows: int
) -> tuple[Floats, Floats, Floats]:
    """Factors on the cut at which each row's life is the wanted one.

    Args:
        life: Lives by factor, shape (rows,) in and out; each rises or falls throughout, but
            for a stretch where a limit holds.
        wanted: The life wanted.
        rows: How many.

    Returns:
        Factors, NaN where none within ``MOST_TIMES`` gives that life; and lives at the lowest
        and highest factor, shape (rows,) each.
    """
    reach = math.log(MOST_TIMES)
    low, high = np.full(rows, -reach), np.full(rows, reach)
    slow, fast = life(np.exp(low)), life(np.exp(high))
    falls = slow >= fast
    inside = (np.minimum(slow, fast) <= wanted) & (wanted <= np.maximum(slow, fast))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        up = (life(np.exp(middle)) > wanted) == falls
        low, high = np.where(up, middle, low), np.where(up, high, middle)
    return np.where(inside, np.exp((low + high) / 2), np.nan), slow, fast


def refuse_beyond(change: str, wanted: float, slow: float, fast: float) -> None:
    """Refuse a life that no factor within ``MOST_TIMES`` gives.

    Raises:
        OutsideModel: It lies outside; the sentence says what can be had.
    """
    least, most = sorted((slow, fast))
    if least <= wanted <= most:
        return
    raise OutsideModel(
        sentence(
            "No {change} within {times} times today's gives a life of {wanted}. It would give "
            "{least} to {most}.",
            change=sentence("speed") if change == SPEED else sentence("feed"),
            times=figure(MOST_TIMES, "g"),
            wanted=_life(wanted),
            least=_life(least),
            most=_life(most),
        ),
        errors=[
            {
                "field": "parts",
                "detail": sentence("{low} to {high}", low=_life(least), high=_life(most)),
            }
        ],
    )


def _life(value: float) -> str:
    return figure(value, ".0f" if value >= 100 else ".3g")
