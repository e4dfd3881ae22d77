"""Kept forecasts beside what followed, as columns: did it last, where did its life fall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Floats, Ints
from crib.errors import OutsideModel
from crib.life.calibration import pinball, place_in_forecast
from crib.outlook.kept_outcomes import GOING_ON, Outcome
from crib.sentence import sentence
from crib.store.kept_rows import SHIFT, KeptForecast

#: Statements of which nobody knows how they would have ended, and those that are not to be
#: judged, or not yet.
OPEN: Final = -1
NOT_DUE: Final = -2

#: As near to certain as the hazard stays a number.
_MOST_CHANCE: Final = 1 - 1e-15


@dataclass(frozen=True, slots=True)
class Judged:
    """Forecasts with what followed, as columns of shape (forecasts,).

    Attributes:
        kept: The forecasts.
        ends: What followed each.
        low: Place of the life in its forecast that is known to be reached.
        high: Place that is known not to be passed.
        lasts_shift: Chance to last the shift that was claimed.
        shift: 1 it lasted, 0 it did not, ``OPEN``, ``NOT_DUE``.
        night_hazard: Hazard of the next unattended stretch by the life model alone.
        lasts_night: Chance shown to last it, under the factor in force.
        night: What came of it, likewise; open where another edge's failure ended it before.
        night_low: Share of like edges that the claim says had failed in it when this one was
            last known good; looked at where open.
        stretch: Number of the machine's stretch, the same for all its edges; -1: not judged.
        loss: Mean loss over the quantiles; NaN where the life is not known exactly.
    """

    kept: Sequence[KeptForecast]
    ends: Sequence[Outcome]
    low: Floats
    high: Floats
    lasts_shift: Floats
    shift: NDArray[np.int8]
    night_hazard: Floats
    lasts_night: Floats
    night: NDArray[np.int8]
    night_low: Floats
    stretch: Ints
    loss: Floats


def judge_forecasts(
    kept: Sequence[KeptForecast], ends: Sequence[Outcome], now_us: int
) -> Judged:
    """Hold forecasts against what followed.

    Args:
        kept: Forecasts that can be judged, in order of time.
        ends: What followed each.
        now_us: Instant of judging [µs].

    Raises:
        OutsideModel: A chance that is none, or quantiles that do not rise.
    """
    chances = [(row.lasts_shift, row.fails_unattended or 0.0) for row in kept]
    if not all(0.0 <= one <= 1.0 for pair in chances for one in pair):
        raise OutsideModel(sentence("A chance lies from 0 to 1."))
    left = np.array([row.left for row in kept], dtype=np.float64)
    good = np.array([end.good_wear for end in ends], dtype=np.float64)
    failed = np.array([end.failed_wear for end in ends], dtype=np.float64)
    over = np.isfinite(failed)
    if not len(kept):
        nothing, none = np.zeros(0), np.zeros(0, dtype=np.int8)
        whole = np.zeros(0, dtype=np.int64)
        return Judged(
            kept,
            ends,
            low=nothing,
            high=nothing,
            lasts_shift=nothing,
            shift=none,
            night_hazard=nothing,
            lasts_night=nothing,
            night=none,
            night_low=nothing,
            stretch=whole,
            loss=nothing,
        )
    low = place_in_forecast(left, good)
    high = np.where(over, place_in_forecast(left, np.where(over, failed, 1.0)), 1.0)
    exact = over & (failed <= good)
    loss = np.where(exact, pinball(left, good), np.nan)
    fails = np.array([row.fails_unattended or 0.0 for row in kept], dtype=np.float64)
    hazard = -np.log1p(-np.minimum(fails, _MOST_CHANCE))
    lasts = np.exp(-hazard * np.array([row.night_scale or 1.0 for row in kept]))
    night, stretch = _night_outcomes(kept, ends, now_us)
    ran = np.array([end.ran for end in ends], dtype=np.float64)
    return Judged(
        kept,
        ends,
        low,
        np.maximum(low, high),
        np.array([row.lasts_shift for row in kept]),
        _shift_outcomes(kept, ends, now_us),
        hazard,
        lasts,
        night,
        np.where(night == OPEN, 1.0 - lasts**ran, 0.0),
        stretch,
        loss,
    )


def _shift_outcomes(
    kept: Sequence[KeptForecast], ends: Sequence[Outcome], now_us: int
) -> NDArray[np.int8]:
    """1 lasted, 0 did not, open, or not to be judged (yet)."""
    known = np.full(len(kept), NOT_DUE, dtype=np.int8)
    for place, (row, end) in enumerate(zip(kept, ends, strict=True)):
        if row.occasion == SHIFT:
            known[place] = _lasted(end, row.shift_ends_us, now_us)
    return known


def _lasted(end: Outcome, until_us: int, now_us: int) -> int:
    if end.good_us >= until_us:
        return 1
    if end.failed_us is not None:
        return 0 if end.failed_us <= until_us else OPEN
    return NOT_DUE if end.state == GOING_ON and now_us < until_us else OPEN


def _night_outcomes(
    kept: Sequence[KeptForecast], ends: Sequence[Outcome], now_us: int
) -> tuple[NDArray[np.int8], Ints]:
    """The same of the unattended stretch, by the last word before it, of edges that saw it.

    A failure may stop the machine: what the other edges would have done after it, nobody knows.
    A stretch in which the machine made nothing says nothing.

    Returns:
        What came of each, and the number of its machine's stretch.
    """
    known = np.full(len(kept), NOT_DUE, dtype=np.int8)
    last: dict[tuple[int, int], int] = {}
    for place, (row, end) in enumerate(zip(kept, ends, strict=True)):
        begin, until = row.unattended_begins_us, row.unattended_ends_us
        if begin is None or until is None or until > now_us:
            continue
        if end.good_us >= begin and (end.left_us is None or end.left_us > begin):
            last[row.mount_id, begin] = place
            known[place] = _lasted(end, until, now_us)
    stretch = np.full(len(kept), -1, dtype=np.int64)
    numbers: dict[tuple[int | None, int | None], int] = {}
    for place in sorted(last.values()):
        if known[place] >= 0:
            of_machine = ends[place].machine_id, kept[place].unattended_begins_us
            stretch[place] = numbers.setdefault(of_machine, len(numbers))
    failed = set(stretch[known == 0].tolist())
    for place, number in enumerate(stretch.tolist()):
        if number < 0:
            known[place] = NOT_DUE
        elif known[place] == 1 and number in failed:
            known[place] = OPEN if ends[place].ran < 1 else 1
        elif known[place] == 1 and ends[place].ran <= 0:
            known[place], stretch[place] = NOT_DUE, -1
    return known, stretch
