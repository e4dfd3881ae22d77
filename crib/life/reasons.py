"""How far a record's reason is to be believed: a worn edge called planned, a good one worn.

An edge leaves a machine for one of three reasons, each with its hazard: wear, a planned or
other taking out, a break. A share of the reasons written down is wrong. The record of an edge
that came out at age x then has the likelihood ``S(x) (A h(x) + B)`` with ``h`` the hazard of
wear (competing risks with a misclassified cause: Goetghebeur & Ryan 1995, from memory): ``A``
is the chance that wear is written down as it was, ``B`` what the other reasons put in. How
common wrong reasons are is learned from the records themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.breakage import PRIOR_PER_LIFE
from crib.life.law import Law
from crib.life.observations import WORN, LifeHistories
from crib.life.worn_by_look import log_worn_by_look

#: Share of wrong reasons before any record: common practice, no source; worth so many records.
_WRONG: Final = 0.02
_WORTH: Final = 50.0
_MOST_WRONG: Final = 0.25
_ROUNDS: Final = 50
_STANDS: Final = 1e-4
_ENOUGH: Final = 20_000
#: A reason whose doubt is smaller than this is taken as it is.
LEAST_DOUBT: Final = 0.02


@dataclass(frozen=True, slots=True)
class Endings:
    """What may have ended each life, by hazards per unit of ln age; arrays of shape (lives,).

    Attributes:
        said: Ending that was written down.
        share: Age over the usual life.
        worn: Hazard of wear.
        seen: ln of how much likelier what was seen is of a worn edge (``worn_by_look``).
        habit: Hazard of the usual taking out; NaN where no habit is known.
        sure: Whether a person said that the ending is right.
    """

    said: Ints
    share: Floats
    worn: Floats
    seen: Floats
    habit: Floats
    sure: Bools

    def every(self, step: int) -> Endings:
        """Every second, third, … life."""
        return Endings(*(getattr(self, column.name)[::step] for column in fields(self)))


def endings_of(lives: LifeHistories, law: Law, habit: Floats, tie: Floats) -> Endings:
    """What may have ended lives.

    Args:
        lives: Believable lives.
        law: The keys' laws as far as they are known.
        habit: Hazard of the usual taking out (``Habit.hazard``), shape (lives,).
        tie: How far lands of each kind go with the edge's own life, shape (kinds,).
    """
    log_x = np.log(np.maximum(lives.wear, 1e-12)) - law.usual()[lives.key_index]
    steepness = law.steepness()[lives.key_index]
    worn = np.log(2.0) * steepness * np.exp(np.minimum(steepness * log_x, 50.0))
    seen = log_worn_by_look(lives, law, tie)
    share = np.exp(np.minimum(log_x, 50.0))
    return Endings(lives.ended.astype(np.int64), share, worn, seen, habit, lives.sure)


@dataclass(frozen=True, slots=True)
class Doubtful:
    """Records of worn edges that may not have been worn.

    Attributes:
        rows: Rows of the lives, shape (records,).
        log_right: ln chance that wear is written down so.
        log_other: ln hazard per unit of ln age by which other reasons are, over the odds of
            wear by what was seen; shape (records,).
    """

    rows: Ints
    log_right: float
    log_other: Floats


@dataclass(frozen=True, slots=True)
class Reasons:
    """What is known of how reasons are written down.

    Attributes:
        wrong: Share of wrong ones.
        taken_rate: Edges taken out per usual life cut.
        break_rate: Edges broken per usual life cut.
    """

    wrong: float
    taken_rate: float
    break_rate: float

    def doubtful(self, at: Endings) -> Doubtful:
        """Records whose reason may be wrong, with both sides of their likelihood.

        Those are edges that are said to be worn. One that was worn and is said to be taken out
        looks like any other in a shop that swaps early: read so, good edges would pass for
        worn ones (the forecast's bench shows it).
        """
        taken, worn, broke = self._made(at)
        other = taken + broke
        doubted = worn / (worn + other) < 1 - LEAST_DOUBT
        rows = np.flatnonzero((at.said == WORN) & doubted & ~at.sure)
        log_other = np.log(np.maximum(other[rows], 1e-300)) - at.seen[rows]
        return Doubtful(rows, float(np.log(1 - self.wrong)), log_other)

    def believed(self, at: Endings) -> Floats:
        """Chance that each edge was taken out good, worn or broken, shape (3, lives)."""
        made = self._made(at)
        result: Floats = made / made.sum(axis=0)
        result[:, at.sure] = np.arange(3)[:, None] == at.said[at.sure]
        return result

    def _made(self, at: Endings) -> Floats:
        """Hazards by which such records are made: taken out, worn, broken; (3, lives)."""
        written = np.full((3, 3), self.wrong / 2)
        np.fill_diagonal(written, 1 - self.wrong)
        taken = np.where(np.isnan(at.habit), self.taken_rate * at.share, at.habit)
        true = np.stack([taken, at.worn * np.exp(at.seen), self.break_rate * at.share])
        result: Floats = true * written[:, at.said]
        return result


def learn_reasons(at: Endings) -> Reasons:
    """Learn how many reasons are wrong (rounds of expectation and maximisation)."""
    # Some thousands tell how many are wrong as well as all.
    at = at.every(1 + len(at.said) // _ENOUGH)
    cut, count = float(at.share.sum()), len(at.said)
    reasons = Reasons(_WRONG, 1.0, PRIOR_PER_LIFE)
    for _ in range(_ROUNDS):
        truth = reasons.believed(at)
        wrong = float(count - truth[at.said, np.arange(count)].sum())
        taken, _, broke = truth.sum(axis=1)
        before = reasons.wrong
        reasons = Reasons(
            min((_WORTH * _WRONG + wrong) / (_WORTH + count), _MOST_WRONG),
            (taken + 1) / (cut + 1),
            (broke + PRIOR_PER_LIFE * _WORTH) / (cut + _WORTH),
        )
        if abs(reasons.wrong - before) < _STANDS:
            break
    return reasons
