"""Absurd ages are kept out of the life model until a person has looked at them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.life.observations import CENSORED, WORN, Ints, LifeHistories
from crib.life.taylor import Floats
from crib.life.trust import medians

LEAST_LIFE: Final = 1e-3
MOST_LIVES: Final = 100.0
TIMES_THE_REST: Final = 5.0
"""Even at the flattest shape, 1.5, one life in 2,000 passes five medians."""
_FEW: Final = 3
_ENOUGH: Final = 6


@dataclass(frozen=True, slots=True)
class SetAside:
    """A life that the model does not believe until somebody has looked at it.

    Attributes:
        row: Row of the histories.
        key_index: Its key.
        wear: Wear units reported.
        reason: A sentence for the person who checks it.
    """

    row: int
    key_index: int
    wear: float
    reason: str


def set_aside(
    histories: LifeHistories, promised: Floats
) -> tuple[LifeHistories, list[SetAside]]:
    """Keep absurd ages out: one of them would move a whole key's forecast.

    The yardstick is the promised life, or the median of the key's worn edges where there are
    at least six (a promise may be wrong by a large factor; the lives then agree with each
    other). With three to five of them it is the larger of the two.

    Args:
        histories: All lives.
        promised: Promised life of each key [wear units], shape (keys,).

    Returns:
        The believable lives and the others with the reason: ages that are no numbers, ended
        below 1/1000 of the yardstick, over 100 promised lives, over 5 times the key's median.
    """
    if not len(histories):
        return histories, []
    wear, parts = histories.wear, histories.parts
    broken_number = ~(np.isfinite(wear) & (wear >= 0) & np.isfinite(parts) & (parts >= 0))
    median, worn = _worn_median(histories, len(promised), ~broken_number)
    usual = np.where(worn >= _FEW, np.maximum(median, promised), promised)
    usual = np.where(worn >= _ENOUGH, median, usual)
    yardstick = usual[histories.key_index]
    most = np.where(worn >= _FEW, TIMES_THE_REST, MOST_LIVES)[histories.key_index]
    with np.errstate(invalid="ignore"):
        # An edge taken out at once tells nothing and harms nothing; one that failed so early
        # points at the mounting, not at wear.
        young = (wear < LEAST_LIFE * yardstick) & (histories.ended != CENSORED)
        old = wear > most * yardstick
    bad = broken_number | young | old
    listed = []
    for row in np.flatnonzero(bad):
        key = int(histories.key_index[row])
        if broken_number[row]:
            reason = "the age is not a number from 0 up"
        elif young[row]:
            reason = f"ended at less than 1/1000 of the usual life {yardstick[row]:.4g}"
        else:
            reason = f"over {most[row]:g} times the usual life {yardstick[row]:.4g}"
        listed.append(SetAside(int(row), key, float(wear[row]), reason))
    return (histories.take(~bad) if listed else histories), listed


def _worn_median(
    histories: LifeHistories, keys: int, usable: NDArray[np.bool_]
) -> tuple[Floats, Ints]:
    """Median age of worn edges per key (0 without any), and how many they are."""
    rows = (histories.ended == WORN) & usable
    return medians(histories.key_index[rows], histories.wear[rows], keys)
