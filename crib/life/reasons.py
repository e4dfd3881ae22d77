"""How far a record's reason is to be believed: a worn edge called planned, a good one worn.

An edge leaves a machine for one of three reasons, each with its hazard: wear, a planned or
other taking out, a break. A share of the reasons written down is wrong. The record of an edge
that came out at age x then has the likelihood ``S(x) (A h(x) + B)`` with ``h`` the hazard of
wear (competing risks with a misclassified cause: Goetghebeur & Ryan 1995, from memory): ``A``
is the chance that wear is written down as it was, ``B`` what the other reasons put in. How
common wrong reasons are is learned from the records themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.breakage import PRIOR_PER_LIFE
from crib.life.law import STEEPNESS, Law
from crib.life.observations import WORN, LifeHistories
from crib.life.trust import Habit

#: Share of wrong reasons before any record: common practice, no source; worth so many records.
_WRONG: Final = 0.02
_WORTH: Final = 50.0
#: Breaks per usual life before any record.
_BREAKS: Final = PRIOR_PER_LIFE
_MOST_WRONG: Final = 0.25
_ROUNDS: Final = 50
_STANDS: Final = 1e-4
_ENOUGH: Final = 20_000
#: A reason whose doubt is smaller than this is taken as it is.
_DOUBT: Final = 0.02


@dataclass(frozen=True, slots=True)
class Reasons:
    """What is known of how reasons are written down.

    Attributes:
        wrong: Share of wrong ones.
        taken_rate: Edges taken out per usual life cut.
        break_rate: Edges broken per usual life cut.
        habit: The usual ages of taking out.
    """

    wrong: float
    taken_rate: float
    break_rate: float
    habit: Habit

    def doubtful(self, lives: LifeHistories, law: Law) -> DoubtfulRecords:
        """Records whose reason may be wrong, with both sides of their likelihood.

        Those are edges that are said to be worn. One that was worn and is said to be taken out
        looks like any other in a shop that swaps early: read so, good edges would pass for
        worn ones (the forecast's bench shows it).
        """
        taken, worn, broke = _joint(self, _hazards(lives, law, self.habit))
        said_worn = lives.ended == WORN
        chance = worn / (taken + worn + broke)
        rows = np.flatnonzero(said_worn & (chance < 1 - _DOUBT))
        made = np.full(len(rows), np.log(1 - self.wrong))
        return DoubtfulRecords(rows, made, np.log(np.maximum((taken + broke)[rows], 1e-300)))

    def believed(self, lives: LifeHistories, law: Law) -> Floats:
        """Chance that each edge was taken out good, worn or broken, shape (3, lives)."""
        joint = _joint(self, _hazards(lives, law, self.habit))
        result: Floats = joint / joint.sum(axis=0)
        return result


class _Hazards(NamedTuple):
    """Hazards per unit of ln age at the end of each life, arrays of shape (lives,).

    Attributes:
        said: Ending that was written down.
        share: Age over the usual life.
        worn: Hazard of wear.
        habit: Hazard of the usual taking out; NaN where no habit is known.
    """

    said: Ints
    share: Floats
    worn: Floats
    habit: Floats


def _hazards(lives: LifeHistories, law: Law, habit: Habit) -> _Hazards:
    log_x = np.log(np.maximum(lives.wear, 1e-12)) - law.usual()[lives.key_index]
    steepness = np.exp(law.weights @ np.log(STEEPNESS))[lives.key_index]
    worn = np.log(2.0) * steepness * np.exp(np.minimum(steepness * log_x, 50.0))
    share = np.exp(np.minimum(log_x, 50.0))
    return _Hazards(lives.ended.astype(np.int64), share, worn, habit.hazard(lives))


def _joint(reasons: Reasons, at: _Hazards) -> Floats:
    """Hazards by which such records are made: taken out, worn, broken; shape (3, lives)."""
    written = np.full((3, 3), reasons.wrong / 2)
    np.fill_diagonal(written, 1 - reasons.wrong)
    taken = np.where(np.isnan(at.habit), reasons.taken_rate * at.share, at.habit)
    made = np.stack([taken, at.worn, reasons.break_rate * at.share])
    result: Floats = made * written[:, at.said]
    return result


@dataclass(frozen=True, slots=True)
class DoubtfulRecords:
    """Records whose reason may be wrong, arrays of shape (records,).

    Attributes:
        rows: Rows of the lives.
        log_right: ln chance that wear is written down so.
        log_other: ln hazard per unit of ln age by which other reasons are.
    """

    rows: Ints
    log_right: Floats
    log_other: Floats


def learn_reasons(lives: LifeHistories, law: Law, habit: Habit) -> Reasons:
    """Learn how many reasons are wrong (rounds of expectation and maximisation).

    Args:
        lives: Believable lives.
        law: The keys' laws as far as they are known.
        habit: The usual ages of taking out.
    """
    # Some thousands tell how many are wrong as well as all.
    at = _hazards(lives.take(np.arange(0, len(lives), 1 + len(lives) // _ENOUGH)), law, habit)
    cut, count = float(at.share.sum()), len(at.said)
    reasons = Reasons(_WRONG, 1.0, _BREAKS, habit)
    for _ in range(_ROUNDS):
        truth = _joint(reasons, at)
        truth /= truth.sum(axis=0)
        wrong = float(count - truth[at.said, np.arange(count)].sum())
        taken, _, broke = truth.sum(axis=1)
        before = reasons.wrong
        reasons = Reasons(
            min((_WORTH * _WRONG + wrong) / (_WORTH + count), _MOST_WRONG),
            (taken + 1) / (cut + 1),
            (broke + _BREAKS * _WORTH) / (cut + _WORTH),
            habit,
        )
        if abs(reasons.wrong - before) < _STANDS:
            break
    return reasons
