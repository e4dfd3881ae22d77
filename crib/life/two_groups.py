"""Do the lives of a key fall into two groups, one lasting longer than the other.

Two populations under one key (two suppliers, two materials, a machine that shakes) get a
median between them that neither has. Lives from two scales under one law are held against
lives from one scale: each by its greatest likelihood, under every law that like keys allow.
The two scales are found by expectation and maximisation (Dempster, Laird & Rubin 1977), one
Newton step at a time (Lange 1995), exact under censoring; both from memory.

Twice the logarithm of the ratio follows no usual law, as the second group has no scale where
there is only one (McLachlan & Peel 2000, chapter 6, from memory). So the ratio from which two
groups are believed was found by simulation; the tests say how often it is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import logsumexp

from crib.arrays import Bools, Floats, Ints
from crib.life.forms import Form, of_survivors
from crib.life.law import FORMS

#: ln likelihood ratio from which two groups are believed.
BELIEVED: Final = 5.5
#: Medians nearer than this are one group for any shop: common practice, no source.
LEAST_APART: Final = float(np.log(1.4))
#: Each group has at least so many lives, and so many that wore out: fewer are odd ones out.
LEAST_LIVES: Final = 3.0
#: Worn edges below which nobody can tell.
LEAST_WORN: Final = 8

#: Where the second group is looked for first: ln scale beside the one scale, share of lives.
_STARTS: Final = ((-0.35, 0.35, 0.5), (-0.7, 0.1, 0.25), (-0.1, 0.7, 0.75))
_ROUNDS, _STANDS, _STEP = 80, 1e-3, 0.3
_LEAST_SHARE: Final = 0.02
#: Laws that like keys hold less likely than this are not tried.
_TRIED: Final = 1e-2
_TINY: Final = 1e-9


@dataclass(frozen=True, slots=True)
class TwoGroups:
    """Two groups of lives, arrays of shape (sets,): one per set of lives.

    Attributes:
        log_ratio: How much likelier two groups make the lives than one [ln].
        shorter: Median of the group that lasts shorter, in the unit of the lives.
        longer: Median of the other.
        share: Share of lives in the shorter one.
        worn: Worn edges of the group with fewer.
    """

    log_ratio: Floats
    shorter: Floats
    longer: Floats
    share: Floats
    worn: Floats

    def believed(self, lives: int) -> Bools:
        """Whether there are two groups, shape (sets,).

        Args:
            lives: How many lives each set has.
        """
        apart = np.log(self.longer / self.shorter) >= LEAST_APART
        least = np.minimum(self.share, 1 - self.share) * lives
        enough = (least >= LEAST_LIVES) & (self.worn >= LEAST_LIVES)
        result: Bools = (self.log_ratio >= BELIEVED) & apart & enough
        return result


def two_groups(ages: Floats, worn: Bools, opinion: Floats) -> TwoGroups:
    """Hold two groups against one.

    Args:
        ages: Ages reached, above 0, shape (sets, lives).
        worn: Whether each was worn out then, else it was still good; same shape.
        opinion: ln weights of the laws as like keys have them, shape (laws,).
    """
    z = np.log(ages)
    tried = tried_laws(opinion)
    one, two = (np.empty((len(tried), len(z))) for _ in range(2))
    found = np.empty((len(tried), 4, len(z)))
    for place, s in enumerate(tried):
        one[place], centre = one_scale(FORMS[s], z, worn)
        two[place], found[place] = _two(FORMS[s], z, worn, centre)
    weight = opinion[tried, None]
    ratio = logsumexp(weight + two, axis=0) - logsumexp(weight + one, axis=0)
    best = np.argmax(weight + two, axis=0)
    shorter, longer, share, fewest = found[best, :, np.arange(len(z))].T
    return TwoGroups(ratio, np.exp(shorter), np.exp(longer), share, fewest)


def tried_laws(opinion: Floats) -> Ints:
    """Numbers of the laws that like keys hold likely enough.

    Args:
        opinion: ln weights of the laws as like keys have them, shape (laws,).
    """
    return np.flatnonzero(opinion > opinion.max() + np.log(_TRIED))


def one_scale(form: Form, z: Floats, worn: Bools) -> tuple[Floats, Floats]:
    """Greatest ln likelihood of one scale, and the ln scale; shape (sets,)."""
    centre = z.mean(axis=1)
    every = np.ones_like(z)
    for _ in range(_ROUNDS):
        _, slope, bend = _terms(form, z - centre[:, None], worn)
        step = _step(every, slope, bend)
        centre = centre + step
        if np.abs(step).max(initial=0.0) < _STANDS:
            break
    return _terms(form, z - centre[:, None], worn)[0].sum(axis=1), centre


def _terms(form: Form, w: Floats, worn: Bools) -> tuple[Floats, Floats, Floats]:
    """Value, slope and curvature in ln scale of each life's ln likelihood."""
    alive, hazard, curve = of_survivors(form, w)
    return (
        np.where(worn, form.log_density(w), alive),
        np.where(worn, form.score(w), hazard),
        np.where(worn, form.bend(w), curve),
    )


def _step(weight: Floats, slope: Floats, bend: Floats) -> Floats:
    """A Newton step of ln scale, held short."""
    step = np.sum(weight * slope, axis=-1) / np.maximum(np.sum(weight * bend, axis=-1), _TINY)
    short: Floats = np.clip(step, -_STEP, _STEP)
    return short


def _two(form: Form, z: Floats, worn: Bools, centre: Floats) -> tuple[Floats, Floats]:
    """Greatest ln likelihood of two scales from any start, shape (sets,).

    Returns:
        It, and ln medians, share of the shorter group and the fewest worn, shape (4, sets).
    """
    sets = len(z)
    where = np.array(_STARTS)
    # A start is one more axis in front: (starts, sets, groups, lives).
    scale = centre[None, :, None] + where[:, None, :2]
    share = np.repeat(where[:, 2:], sets, axis=1)[:, :, None]
    share = np.concatenate([share, 1 - share], axis=2)
    lives, ended = z[None, :, None, :], worn[None, :, None, :]
    total, belongs = np.empty(0), np.empty(0)
    for _ in range(_ROUNDS):
        value, slope, bend = _terms(form, lives - scale[..., None], ended)
        joint = np.log(share)[..., None] + value
        total = logsumexp(joint, axis=2)
        belongs = np.exp(joint - total[:, :, None])
        step = _step(belongs, slope, bend)
        scale = scale + step
        share = np.clip(belongs.mean(axis=-1), _LEAST_SHARE, 1 - _LEAST_SHARE)
        share /= share.sum(axis=2, keepdims=True)
        if np.abs(step).max(initial=0.0) < _STANDS:
            break
    best = np.argmax(total.sum(axis=-1), axis=0)
    row = np.arange(sets)
    scale, share = scale[best, row], share[best, row]
    fewest = np.sum(belongs[best, row] * worn[:, None], axis=-1).min(axis=1)
    order = np.argsort(scale, axis=1)
    low, high = np.take_along_axis(scale, order, axis=1).T + form.log_median
    of_low = np.take_along_axis(share, order, axis=1)[:, 0]
    return total.sum(axis=-1)[best, row], np.stack([low, high, of_low, fewest])
