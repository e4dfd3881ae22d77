"""Breakage: a chance per part that does not wait for wear, pooled from shop to key.

Rates are held per wear unit above the key, where parts of different size mix, and per part at
the key itself, where they are what the shop counts. An edge that was seated badly chips soon
or not at all, so that the first tenth of a promised life may break edges more often than the
rest; how many times as often is learned for the whole shop, since breaks are few.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.observations import LifeHistories, per_key

PRIOR_PER_LIFE: Final = 0.03
"""One edge in about thirty breaks before it wears out: common practice, no source."""
_STRENGTH: Final = 2.0

YOUNG: Final = 0.1
"""Share of the promised life in which a badly seated edge chips: common practice, no source."""
#: Breaks that young and older edges' being alike is worth, and how far they may differ.
_ALIKE: Final = 1.0
_MOST_TIMES: Final = 20.0


@dataclass(frozen=True, slots=True)
class Breakage:
    """Posterior of each key's break rate, arrays of shape (keys,).

    ``rate per part ~ Gamma(alpha, prior_wear / wear_per_part + parts)`` of an edge that is no
    longer young; a young one's is ``1 + more`` times as high, so that its parts count for as
    many.

    Attributes:
        alpha: Prior strength plus breaks seen.
        prior_wear: Wear units that the prior from like keys is worth.
        parts: Parts made by the key's edges, those of young ones counted ``1 + more`` times.
        young: Wear units up to which an edge is young.
        more: How much more often young edges break, from 0; one number for the shop.
    """

    alpha: Floats
    prior_wear: Floats
    parts: Floats
    young: Floats
    more: float

    def exposure_wear(self, key: Ints, wear_per_part: Floats) -> Floats:
        """``beta`` in wear units at a wear per part, shape (edges,)."""
        return self.prior_wear[key] + self.parts[key] * wear_per_part

    def exposed(self, key: int, ages: Floats) -> Floats:
        """What edges of a key were exposed to by an age, in wear units of edges not young."""
        result: Floats = ages + self.more * np.minimum(ages, self.young[key])
        return result

    def after(self, lives: LifeHistories, broke: Floats) -> Breakage:
        """After a few more lives; what like keys say of each other stays as it was.

        Args:
            lives: Believable lives.
            broke: Chance that each ended by a break, shape (lives,).
        """
        keys, index = len(self.alpha), lives.key_index
        counted = lives.parts * (1 + self.more * _share_young(lives, self.young))
        return replace(
            self,
            alpha=self.alpha + per_key(index, broke, keys),
            parts=self.parts + per_key(index, counted, keys),
        )


def fit_breakage(
    histories: LifeHistories, levels: tuple[Ints, ...], promised: Floats, broken: Floats
) -> Breakage:
    """Pool breaks from the shop down the levels to the keys.

    Args:
        histories: Believable lives.
        levels: Group labels from coarse to fine, each of shape (keys,).
        promised: Promised life per key [wear units], shape (keys,).
        broken: Chance that each life ended by a break, shape (lives,).
    """
    keys = len(promised)
    index = histories.key_index
    broke = per_key(index, broken, keys)
    lived = histories.wear / promised[index]
    share = _share_young(histories, YOUNG * promised)
    more = _more_when_young(
        histories, promised, broken, float(lived @ share), float(lived.sum())
    )
    counted = 1 + more * share
    parts = per_key(index, histories.parts * counted, keys)
    rate = np.full(keys, PRIOR_PER_LIFE)
    lives = per_key(index, lived * counted, keys)
    for label in (np.zeros(keys, dtype=np.int64), *levels):
        broke_here = per_key(label, broke)[label]
        lives_here = per_key(label, lives)[label]
        rate = (_STRENGTH + broke_here) / (_STRENGTH / rate + lives_here)
    return Breakage(
        _STRENGTH + broke, _STRENGTH / rate * promised, parts, YOUNG * promised, more
    )


def _share_young(lives: LifeHistories, young: Floats) -> Floats:
    """Share of each life's parts that it made while young, shape (lives,)."""
    limit = young[lives.key_index]
    return np.minimum(limit / np.maximum(lives.wear, 1e-300), 1.0)


def _more_when_young(
    lives: LifeHistories, promised: Floats, broken: Floats, while_young: float, in_all: float
) -> float:
    """How much more often edges of the shop break while young, from 0.

    Breaks of young edges are taken as Poisson with a mean of a factor times what the rate of
    older ones would give, the factor as gamma distributed about 1 (conjugate; Gelman et al.,
    Bayesian Data Analysis, section 2.6, from memory), worth ``_ALIKE`` breaks. A break that
    nobody saw counts in the middle of where it may lie.

    Args:
        lives: Believable lives.
        promised: Promised life per key [wear units], shape (keys,).
        broken: Chance that each ended by a break, shape (lives,).
        while_young: Promised lives cut by young edges.
        in_all: Promised lives cut by all.
    """
    at = (lives.since + lives.wear) / 2
    soon = float(broken[at < YOUNG * promised[lives.key_index]].sum())
    later = (_ALIKE + float(broken.sum()) - soon) / (
        _ALIKE / PRIOR_PER_LIFE + in_all - while_young
    )
    times = (_ALIKE + soon) / (_ALIKE + later * while_young)
    return min(max(times - 1, 0.0), _MOST_TIMES)
