"""What a look at an edge says of why it came out: small lands are not those of worn edges."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from crib.arrays import Floats
from crib.life.law import Law
from crib.life.looks import unchecked_looks
from crib.life.observations import LifeHistories

_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(20)
#: Shares of the edges that lived on, by which their lives are gone through.
_LEFT: Final[Floats] = (_POINTS + 1) / 2


def log_worn_by_look(lives: LifeHistories, law: Law, tie: Floats) -> Floats:
    """Ln of how much likelier what was seen is of an edge worn out then than of one good.

    But for how far lands go with life, looks are read here as before any was checked. The rest
    is learned from edges that are called worn; where many of them were good, their small lands
    would be learned as those of worn edges, and so never give them away.

    Args:
        lives: Believable lives.
        law: The keys' laws as far as they are known.
        tie: How far lands of each kind go with the edge's own life, shape (kinds,).

    Returns:
        Shape (lives,); 0 where nothing was seen.
    """
    result = np.zeros(len(lives))
    rows = np.flatnonzero((lives.seen_kind > 0) & (lives.seen_at > 0) & (lives.wear > 0))
    if not len(rows):
        return result
    some = lives.take(rows)
    taken = replace(unchecked_looks(law.usual(), law.doubt()), tie=tie).of_lives(some)
    log_age = np.log(some.wear)
    worn = taken.of_edges(log_age[:, None], 0.0)[:, 0]
    # Lives of those that outlive the age, by a Weibull's law of like spread: as many of each as
    # it leaves of them.
    k = law.steepness()[some.key_index]
    log_scale = law.usual()[some.key_index] - np.log(np.log(2.0)) / k
    hazard = np.exp(np.minimum(k * (log_age - log_scale), 300.0))
    log_life = log_scale[:, None] + np.log(hazard[:, None] - np.log(_LEFT)) / k[:, None]
    good = np.log(np.exp(taken.of_edges(log_life, 0.0)) @ (_WEIGHTS / 2))
    result[rows] = worn - good
    return result
