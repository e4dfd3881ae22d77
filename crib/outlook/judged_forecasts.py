"""Kept forecasts beside what followed, as columns: did it last, where did its life fall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.life.calibration import pinball, place_in_forecast
from crib.outlook.kept_outcomes import GOING_ON, Outcome
from crib.sentence import sentence
from crib.store.kept_rows import SHIFT, KeptForecast

#: Statements that are not to be judged, or not yet.
NOT_DUE: Final = -2


@dataclass(frozen=True, slots=True)
class Judged:
    """Forecasts with what followed, as columns of shape (forecasts,).

    Attributes:
        kept: The forecasts.
        ends: What followed each.
        low: Place of the life in its forecast that is known to be reached.
        high: Place that is known not to be passed.
        lasts_shift: Chance to last the shift that was claimed.
        shift: 1 it lasted, 0 it did not, -1 open, ``NOT_DUE``.
        lasts_night: Chance claimed to last the next unattended stretch.
        night: What came of it, likewise; never open.
        loss: Mean loss over the quantiles; NaN where the life is not known exactly.
    """

    kept: Sequence[KeptForecast]
    ends: Sequence[Outcome]
    low: Floats
    high: Floats
    lasts_shift: Floats
    shift: NDArray[np.int8]
    lasts_night: Floats
    night: NDArray[np.int8]
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
        return Judged(kept, ends, nothing, nothing, nothing, none, nothing, none, nothing)
    low = place_in_forecast(left, good)
    high = np.where(over, place_in_forecast(left, np.where(over, failed, 1.0)), 1.0)
    exact = over & (failed <= good)
    loss = np.where(exact, pinball(left, good), np.nan)
    return Judged(
        kept,
        ends,
        low,
        np.maximum(low, high),
        np.array([row.lasts_shift for row in kept]),
        _shift_outcomes(kept, ends, now_us),
        np.array([1.0 - (row.fails_unattended or 0.0) for row in kept]),
        _night_outcomes(kept, ends, now_us),
        loss,
    )


def _shift_outcomes(
    kept: Sequence[KeptForecast], ends: Sequence[Outcome], now_us: int
) -> NDArray[np.int8]:
    """1 lasted, 0 did not, -1 open, -2 not to be judged (yet)."""
    known = np.full(len(kept), NOT_DUE, dtype=np.int8)
    for place, (row, end) in enumerate(zip(kept, ends, strict=True)):
        if row.occasion == SHIFT:
            known[place] = _lasted(end, row.shift_ends_us, now_us)
    return known


def _lasted(end: Outcome, until_us: int, now_us: int) -> int:
    if end.good_us >= until_us:
        return 1
    if end.failed_us is not None:
        return 0 if end.failed_us <= until_us else -1
    return NOT_DUE if end.state == GOING_ON and now_us < until_us else -1


def _night_outcomes(
    kept: Sequence[KeptForecast], ends: Sequence[Outcome], now_us: int
) -> NDArray[np.int8]:
    """The same of the unattended stretch: the last word before it, of edges that saw it."""
    known = np.full(len(kept), NOT_DUE, dtype=np.int8)
    last: dict[tuple[int, int], int] = {}
    for place, (row, end) in enumerate(zip(kept, ends, strict=True)):
        begin, until = row.unattended_begins_us, row.unattended_ends_us
        if begin is None or until is None or until > now_us:
            continue
        if end.good_us >= begin and (end.left_us is None or end.left_us > begin):
            last[row.mount_id, begin] = place
            known[place] = _lasted(end, until, now_us)
    final = set(last.values())
    for place in range(len(kept)):
        if place not in final or known[place] < 0:
            known[place] = NOT_DUE
    return known
