"""How far the forecast doubts each life, and what else the record may mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Bools, Floats
from crib.life.aside import SetAside
from crib.life.observations import BROKEN, LifeHistories, seen_failures
from crib.life.posterior import Posterior
from crib.life.reasons import LEAST_DOUBT

AS_WRITTEN: Final = 0
"""Nothing speaks against the record."""
ABSURD_AGE: Final = 1
"""An age so far off that the life is left out (``crib.life.aside``)."""
TWO_LIVES: Final = 2
"""Perhaps two edges, one turned without a record (``crib.life.trust``)."""
OTHER_ENDING: Final = 3
"""Perhaps it ended for another reason than was written (``crib.life.reasons``)."""

#: A life is doubted where its record is wrong by a chance of one in four or more: in invented
#: shops with every twentieth reason wrong no sound record was doubted (80 keys of 40 lives).
_BELIEVED: Final = 0.75


@dataclass(frozen=True, slots=True)
class LifeDoubts:
    """How far lives are doubted, arrays of shape (lives,).

    Attributes:
        believed: Chance that the record is right as it was written.
        why: ``ABSURD_AGE``, ``TWO_LIVES`` or ``OTHER_ENDING``: what speaks most against it;
            ``AS_WRITTEN`` where next to nothing does.
        instead: The likeliest ending if the written one is wrong: ``CENSORED``, ``WORN`` or
            ``BROKEN``; as written where another ending is not what is suspected.
    """

    believed: Floats
    why: NDArray[np.int8]
    instead: NDArray[np.int8]

    @property
    def doubted(self) -> Bools:
        """Lives whose record may well be wrong, shape (lives,)."""
        result: Bools = self.believed < _BELIEVED
        return result


def life_doubts(
    lives: LifeHistories, aside: Sequence[SetAside], wear: Posterior, still: Floats
) -> LifeDoubts:
    """How far each life is doubted, as the fit weighs it.

    The fit takes an edge that is said to be taken out as it is, and a failure that nobody saw
    too: only seen failures are doubted for their reason. A life from before a change is not
    judged by those since.

    Args:
        lives: All lives.
        aside: Those among them that were left out.
        wear: What is known of each key's wear-out.
        still: How far each life counts that came before a change, shape (lives,).
    """
    believed = np.ones(len(lives))
    why = np.full(len(lives), AS_WRITTEN, dtype=np.int8)
    instead = lives.ended.copy()
    sound = np.ones(len(lives), dtype=np.bool_)
    left_out = [one.row for one in aside]
    sound[left_out], believed[left_out], why[left_out] = False, 0.0, ABSURD_AGE
    rows = np.flatnonzero(sound)
    some = lives.take(rows)
    one_edge = 1 - still[rows] * (1 - wear.doubts.belief(some, wear.law))
    ending, other = _endings(some, wear.endings(some))
    ending = 1 - still[rows] * (1 - ending)
    believed[rows] = one_edge * ending
    least = 1 - LEAST_DOUBT
    two, changed = one_edge < least, (ending < least) & (ending < one_edge)
    why[rows] = np.where(changed, OTHER_ENDING, np.where(two, TWO_LIVES, AS_WRITTEN))
    instead[rows[changed]] = other[changed]
    return LifeDoubts(believed, why, instead)


def _endings(lives: LifeHistories, chance: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """Chance that the written ending is right, and the likeliest other one; each (lives,).

    Args:
        lives: Believable lives.
        chance: Chance of each ending, shape (3, lives).
    """
    row = np.arange(len(lives))
    written = chance[lives.ended, row]
    others = chance.copy()
    others[lives.ended, row] = -1.0
    doubtful = seen_failures(lives) | (lives.ended == BROKEN)
    return np.where(doubtful, written, 1.0), np.argmax(others, axis=0).astype(np.int8)
