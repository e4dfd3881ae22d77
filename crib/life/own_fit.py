"""Does any law of life fit the lives of a key.

The share alive by the lives alone (Kaplan and Meier) is held against the law that fits them
best: the squared distance between both, over the law's own scale from 0 to 1 (Koziol & Green
1976, from memory). How large that gets where the law is right is found by simulation: lives are
drawn from that law, cut short as the key's were, and fitted again (parametric bootstrap; Stute,
Gonzáles Manteiga & Presedo Quindimil 1993, from memory). Exact under censoring in that sense.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.life.forms import Form
from crib.life.law import FORMS
from crib.life.two_groups import one_scale, tried_laws

_DRAWN: Final = 199
#: More lives than this are thinned out: they say the same.
_MOST: Final = 200
_SEED: Final = 20_260_301


def chance_of_distance(ages: Floats, worn: Bools, opinion: Floats) -> float:
    """Chance that lives of the best law lie as far from it as these, or farther.

    Args:
        ages: Ages reached, above 0, shape (lives,).
        worn: Whether each was worn out then, else it was still good; same shape.
        opinion: ln weights of the laws as like keys have them, shape (laws,).
    """
    step = 1 + (len(ages) - 1) // _MOST
    z, ended = np.log(ages)[::step], worn[::step]
    laws = tried_laws(opinion)
    law, scale = _best(laws, z[None], ended[None], opinion)
    seen = _distance(_chance(FORMS[law[0]], z[None] - scale[0]), ended[None])[0]
    rng = np.random.default_rng(_SEED)
    lives = scale[0] + _drawn(FORMS[law[0]], rng.random((_DRAWN, len(z))))
    until = _cut_short(z, ended, rng.random(lives.shape))
    again, failed = np.minimum(lives, until), lives <= until
    law, scale = _best(laws, again, failed, opinion)
    chance = np.empty_like(again)
    for s in np.unique(law):
        rows = law == s
        chance[rows] = _chance(FORMS[s], again[rows] - scale[rows, None])
    farther = int(np.sum(_distance(chance, failed) >= seen))
    return (1 + farther) / (1 + _DRAWN)


def _best(laws: Ints, z: Floats, worn: Bools, opinion: Floats) -> tuple[Ints, Floats]:
    """The law that fits each set of lives best, and its ln scale; each (sets,)."""
    value, scale = (np.empty((len(laws), len(z))) for _ in range(2))
    for place, s in enumerate(laws):
        value[place], scale[place] = one_scale(FORMS[s], z, worn)
    best = np.argmax(value + opinion[laws, None], axis=0)
    return laws[best], scale[best, np.arange(len(z))]


def _chance(form: Form, w: Floats) -> Floats:
    """Chance to be worn out by then."""
    result: Floats = -np.expm1(form.log_alive(w))
    return result


def _drawn(form: Form, share: Floats) -> Floats:
    """Ln lives over scale that such shares of edges do not reach."""
    grid = np.linspace(-12.0 / form.steepness, 6.0 / form.steepness, 4001)
    result: Floats = np.interp(share, _chance(form, grid), grid)
    return result


def _cut_short(z: Floats, worn: Bools, share: Floats) -> Floats:
    """Ln ages at which edges would have been taken out, as often as these were.

    Kaplan and Meier's share of edges not taken out yet; beyond the last none is.
    """
    order = np.lexsort((~worn, z))
    risk = np.arange(len(z), 0, -1)
    left = np.cumprod(np.where(worn[order], 1.0, 1 - 1 / risk))
    place = np.searchsorted(-left, -share, side="right")
    ages = np.append(z[order], np.inf)
    found: Floats = ages[place]
    return found


def _distance(chance: Floats, worn: Bools) -> Floats:
    """Squared distance of Kaplan and Meier's share worn from the law's, shape (sets,).

    Args:
        chance: The law's chance to be worn out by each age, shape (sets, lives).
        worn: Whether each was worn out then.
    """
    order = np.argsort(chance, axis=1)
    at = np.take_along_axis(chance, order, axis=1)
    ended = np.take_along_axis(worn, order, axis=1)
    lives = chance.shape[1]
    risk = np.arange(lives, 0, -1)
    gone = 1 - np.cumprod(np.where(ended, 1 - 1 / risk, 1.0), axis=1)
    # between two ages the share stays: the integral of (gone - u)^2 over u
    begin, after = np.pad(at, ((0, 0), (1, 0)))[:, :-1], np.pad(gone, ((0, 0), (1, 0)))[:, :-1]
    result: Floats = lives * np.sum(((at - after) ** 3 - (begin - after) ** 3) / 3, axis=1)
    return result
