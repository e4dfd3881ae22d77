"""Speed or feed that a key's edges would need for a wanted life, by its lives and its curve."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Floats
from crib.errors import Contradiction
from crib.life.constants_own import power_errors_before
from crib.life.cut_for_life import curves_in_doubt, range_about
from crib.life.taylor import TaylorConstants, refuse_no_feed
from crib.outlook.own_constants import EXPONENT_SPREAD, OWN_LIVES
from crib.outlook.shop_plan import ShopPlan
from crib.planning.cut_asked import (
    FEED,
    SPEED,
    CutTaken,
    cut_taken,
    refuse_beyond,
    refuse_fixed,
    times_for,
)
from crib.planning.part_wear import Curve
from crib.sentence import figure, sentence
from crib.views.keys_by_name import row_of_key
from crib.views.use_of_key import use_of_key

#: Shares of the edges that shall reach the life: the usual one, and nearly all.
REACHES: Final = (0.5, 0.9)

CUT_CAUTION: Final = sentence(
    "A calculation for the programmer to judge, no setting to key in. The insert maker's "
    "data and the machine's manual come first. Try a new cut attended."
)


@dataclass(frozen=True, slots=True)
class CutFound:
    """The cut at which a share of the edges reaches the wanted life.

    Attributes:
        reach: That share.
        value: The cutting speed [m/min] or feed [mm/rev], of the operation that wears most.
        low: Lower end of its 80 % range, for the exponent's doubt; null: not known.
        high: Upper end; null: not known.
        spindle_rpm: Fastest spindle speed there; null: not known.
        limited_by: Whose limit holds the spindle there; null: nobody's.
        times: All of the program's speeds or feeds so many times as high.
        beyond: What of the cut lies outside the range that the curve holds for.
    """

    reach: float
    value: float
    low: float | None
    high: float | None
    spindle_rpm: float | None
    limited_by: str | None
    times: float
    beyond: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CutOfKey:
    """Cuts for a wanted life of a key's edges.

    Attributes:
        key: Its name.
        change: speed or feed: what is asked for.
        machine: Where the edges run now, or ran last.
        station: Its station.
        part: What is made there.
        wanted: The life wanted.
        unit: parts or min.
        today: Today's speed [m/min] or feed [mm/rev].
        exponent: Exponent that answers: n of the speed, or the feed's.
        exponent_error: Its standard error.
        own_lives: Whether the shop's own edges say so; else it is a table's, taken as unsure.
        says: Where the exponent comes from.
        found: The cuts; of a share that is left out none is within reach.
        caution: What to keep in mind.
    """

    key: str
    change: str
    machine: str
    station: str
    part: str
    wanted: float
    unit: str
    today: float
    exponent: float
    exponent_error: float
    own_lives: bool
    says: str
    found: tuple[CutFound, ...]
    caution: str


def cut_of_key(
    plan: ShopPlan, name: str, change: str, wanted: float, *, minutes: bool = False
) -> CutOfKey:
    """The speed or feed for a wanted life of a key's edges.

    Args:
        plan: The shop's plan.
        name: ``ITEM~GROUP~OPERATION`` as forecasts give it.
        change: ``speed`` or ``feed``.
        wanted: Life wanted [parts], or [min in cut].
        minutes: Whether it is in minutes.

    Raises:
        NotKnown: No edge of that key was ever mounted.
        Contradiction: Nothing is known of its cut.
        OutsideModel: The question has no answer, or none within reach.
    """
    row = row_of_key(plan, name)
    use, key = use_of_key(plan, row), plan.keys[row]
    curve = plan.shop.cutting.curve(key.cutting_item_id, key.material_group)
    if curve is None or not use.operations:
        raise Contradiction(
            sentence(
                "No speed-life curve is known for {key}. Give its item a tool material, or "
                "constants in the tool-life table.",
                key=name,
            )
        )
    refuse_fixed(use.operations, change)
    if change == FEED:
        refuse_no_feed(curve.constants)

    def taken(constants: TaylorConstants, times: float) -> CutTaken:
        return cut_taken(use.operations, use.limits, constants, change, times)

    now = taken(curve.constants, 1.0)
    if now.cutting_speed_m_min is None:
        raise Contradiction(
            sentence("The cutting speed of {key} is not known: fill in a diameter.", key=name)
        )
    exponent, error = _exponent(curve, change)
    seen_at = (now.cutting_speed_m_min, now.feed_mm_rev, now.depth_mm)
    curves = (curve.constants, *curves_in_doubt(curve.constants, exponent, error, seen_at))
    before = [taken(one, 1.0).wear for one in curves]
    which, reach = np.divmod(np.arange(len(curves) * len(REACHES)), len(REACHES))
    quantiles = [1 - share for share in REACHES]

    def life(times: Floats) -> Floats:
        takes = [taken(curves[c], t) for c, t in zip(which, times.tolist(), strict=True)]
        ratio = [take.wear / before[c] for c, take in zip(which, takes, strict=True)]
        wear = use.wear_per_part * np.array(ratio)
        left = plan.model.remaining(row, np.zeros(len(wear)), wear, quantiles)
        parts = left[np.arange(len(wear)), reach] / wear
        return parts * np.array([take.minutes for take in takes]) if minutes else parts

    times, slow, fast = times_for(life, wanted, len(which))
    if np.isnan(times[: len(REACHES)]).all():
        refuse_beyond(change, wanted, float(slow[0]), float(fast[0]))
    found = []
    for place, share in enumerate(REACHES):
        mine = times[place :: len(REACHES)].tolist()
        if math.isnan(mine[0]):
            continue
        falls = (slow >= fast)[place :: len(REACHES)]
        ends = _ends(mine, bool(np.all(falls == falls[0])))
        cut = taken(curve.constants, mine[0])
        low, high = (
            None if end is None else _value(taken(curve.constants, end), change) for end in ends
        )
        at = (cut.cutting_speed_m_min or 0.0, cut.feed_mm_rev, cut.depth_mm)
        found.append(
            CutFound(
                share,
                _value(cut, change),
                low,
                high,
                cut.spindle_rpm,
                cut.limited_by,
                mine[0],
                curve.holds.outside(*at) if curve.holds else (),
            )
        )
    return CutOfKey(
        name,
        change,
        use.machine,
        use.station,
        use.part,
        wanted,
        "min" if minutes else "parts",
        _value(now, change),
        float(getattr(curve.constants, exponent)),
        error,
        curve.basis == OWN_LIVES,
        _says(curve, float(getattr(curve.constants, exponent)), error, change),
        tuple(found),
        CUT_CAUTION,
    )


def _ends(times: list[float], one_way: bool) -> tuple[float | None, float | None]:
    """Least and greatest factor of the curves in doubt; None where that one has no answer."""
    answer, *others = times
    if not one_way:
        return None, None  # nobody knows which way the life goes
    return range_about(answer, (one for one in others if not math.isnan(one)))


def _exponent(curve: Curve, change: str) -> tuple[str, float]:
    """The exponent that answers, and its standard error with all else held."""
    if curve.basis == OWN_LIVES and curve.doubt is not None:
        powers = np.sqrt(np.diag(curve.doubt.covariance))
    else:
        powers = power_errors_before(curve.constants, EXPONENT_SPREAD[curve.basis])
    n = curve.constants.n
    if change == SPEED:
        return "n", float(powers[0]) * n**2
    return "feed_exponent", float(powers[1]) * n


def _value(cut: CutTaken, change: str) -> float:
    value = cut.feed_mm_rev if change == FEED else cut.cutting_speed_m_min
    return float("nan") if value is None else value


def _says(curve: Curve, exponent: float, error: float, change: str) -> str:
    what = sentence("speed") if change == SPEED else sentence("feed")
    how = {"n": figure(exponent, ".2f"), "error": figure(error, ".2f")}
    if curve.basis == OWN_LIVES:
        return sentence(
            "Exponent of the {what} from your own edges: {n} ± {error}.", what=what, **how
        )
    if curve.basis == "starter":
        return sentence(
            "Exponent of the {what} from a handbook table, {n} ± {error}: your lives say "
            "nothing of it yet. Lives at other cuts would.",
            what=what,
            **how,
        )
    return sentence(
        "Exponent of the {what} from your tool-life table, {n} ± {error}: your lives do not "
        "narrow it yet. Lives at other cuts would.",
        what=what,
        **how,
    )
