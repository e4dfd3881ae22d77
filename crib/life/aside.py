"""Absurd ages are kept out of the life model until a person has looked at them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.observations import CENSORED, WORN, LifeHistories
from crib.life.trust import medians
from crib.sentence import figure, sentence, together

LEAST_LIFE: Final = 1e-3
MOST_LIVES: Final = 100.0
TIMES_THE_REST: Final = 5.0
"""Even at the flattest shape, 1.5, one life in 2,000 passes five medians."""
MOST_WRONG: Final = 1e6
"""A promise more wrong than this is a slip of the pen, or a unit mixed up."""
_FEW: Final = 3
_ENOUGH: Final = 6


#: A running edge this many times the usual life is asked about: most likely it was swapped
#: without a record, or the count is wrong (common practice, no source).
MOST_RUNNING: Final = 10.0


@dataclass(frozen=True, slots=True)
class SetAside:
    """A life that the model does not believe until somebody has looked at it.

    Attributes:
        row: Row of the histories.
        key_index: Its key.
        wear: Wear units reported.
        short: What is odd about it, without the yardstick's figure.
        reason: The same for the person who checks it, with the figure.
    """

    row: int
    key_index: int
    wear: float
    short: str
    reason: str


@dataclass(frozen=True, slots=True)
class Yardstick:
    """What is usual for each key, arrays of shape (keys,).

    Attributes:
        usual: Usual life [wear units].
        most: How many times that may be believed.
    """

    usual: Floats
    most: Floats


def yardstick(histories: LifeHistories, promised: Floats) -> Yardstick:
    """The promised life, or the median of the key's worn edges where there are at least six.

    A promise may be wrong by a large factor; six lives then agree with each other. With three
    to five of them it is the larger of the two.

    Args:
        histories: All lives.
        promised: Promised life of each key [wear units], shape (keys,).
    """
    usable = np.isfinite(histories.wear) & (histories.wear >= 0)
    median, worn = _worn_median(histories, len(promised), usable)
    usual = np.where(worn >= _FEW, np.maximum(median, promised), promised)
    usual = np.where(worn >= _ENOUGH, median, usual)
    usual = np.clip(usual, promised / MOST_WRONG, promised * MOST_WRONG)
    return Yardstick(usual, np.where(worn >= _FEW, TIMES_THE_REST, MOST_LIVES))


def set_aside(
    histories: LifeHistories, measure: Yardstick, first: int = 0
) -> tuple[LifeHistories, list[SetAside]]:
    """Keep absurd ages out: one of them would move a whole key's forecast.

    Args:
        histories: Lives to judge.
        measure: What is usual.
        first: Number of the first life among all.

    Returns:
        The believable lives and the others with the reason: ages that are no numbers, ended
        below 1/1000 of the usual life, over 100 promised lives, over 5 times the key's median.
        A life that a person is sure of stays, unless its age is no number.
    """
    if not len(histories):
        return histories, []
    wear, parts = histories.wear, histories.parts
    broken_number = ~(np.isfinite(wear) & (wear >= 0) & np.isfinite(parts) & (parts >= 0))
    usual, most = measure.usual[histories.key_index], measure.most[histories.key_index]
    with np.errstate(invalid="ignore"):
        # An edge taken out at once tells nothing and harms nothing; one that failed so early
        # points at the mounting, not at wear.
        young = (wear < LEAST_LIFE * usual) & (histories.ended != CENSORED)
        old = wear > most * usual
    bad = broken_number | (young | old) & ~histories.sure
    listed: list[SetAside] = []
    for row in np.flatnonzero(bad):
        key = int(histories.key_index[row])
        if broken_number[row]:
            reason = short = sentence("the age is not a number from 0 up")
        elif young[row]:
            short = sentence("ended at less than 1/1000 of the usual life")
            reason = together(" ", (short, figure(usual[row], ".4g")))
        else:
            short = sentence("over {most} times the usual life", most=figure(most[row], "g"))
            reason = together(" ", (short, figure(usual[row], ".4g")))
        listed.append(SetAside(first + int(row), key, float(wear[row]), short, reason))
    return (histories.take(~bad) if listed else histories), listed


def too_old_to_run(running: LifeHistories, measure: Yardstick) -> Bools:
    """Running edges whose age a person has to look at before it is believed, shape (edges,).

    Args:
        running: Edges that still cut.
        measure: What is usual.
    """
    key = running.key_index
    most = np.minimum(measure.most[key], MOST_RUNNING) * measure.usual[key]
    old: Bools = running.wear >= most * (1 - 1e-9)
    return old


def _worn_median(histories: LifeHistories, keys: int, usable: Bools) -> tuple[Floats, Ints]:
    """Median age of worn edges per key (0 without any), and how many they are."""
    rows = (histories.ended == WORN) & usable
    return medians(histories.key_index[rows], histories.wear[rows], keys)


def among_all(believed: Floats, aside: Sequence[SetAside], settled: int, lives: int) -> Floats:
    """Values of the believed lives among all of them; 1 for every other one.

    Args:
        believed: Values of the believed ones among the first, in their order.
        aside: Lives that were left out.
        settled: How many of the lives are the first.
        lives: How many there are.
    """
    result, first = np.ones(lives), np.ones(settled, dtype=np.bool_)
    first[[one.row for one in aside if one.row < settled]] = False
    result[np.flatnonzero(first)] = believed
    return result
