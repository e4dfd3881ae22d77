"""Exponents of the speed-life curve from a shop's own edges, the level left to the life model.

Every edge that ended says how far its wear went under the constants in force. Where these are
right, edges from slow and fast cuts end at the same wear; where they are not, the wear at the
end rises or falls with the cut:

``ln wear = L - dp x_v - dq x_f - dr x_d + effects + sigma W``

with x the wear-weighted means of ln speed, feed and depth over the edge's own life and dp, dq,
dr the corrections of 1/n, a/n, b/n. To first order this holds for edges that saw several cuts
too, since the slope of ln wear along 1/n is just that mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints
from crib.errors import OutsideModel
from crib.life.constants_prior import prior_around
from crib.life.constants_regression import RegressionPrior, fit_life_regression
from crib.life.taylor import TaylorConstants, constants_through_test, life_min
from crib.life.taylor_forms import power_law
from crib.life.taylor_range import CurveRange
from crib.sentence import figure, sentence, together

#: Ended lives from which on an estimate may replace the constants in force.
LEAST_LIVES: Final = 8

#: Two cuts differ from this ratio of speeds, feeds or depths on.
_DIFFERENT: Final = math.log(1.1)

#: How much of what was uncertain about an exponent the lives have to take away.
_HALVED: Final = 0.5

#: Spread of ln life from one part, and from one kind of operation, to the next beside what
#: speed, feed and depth explain (common practice, no source).
_PART_SD: Final = 0.15
_CLASS_SD: Final = 0.3
_MOST_EFFECTS: Final = 60

#: How far the level of the constants in force may be off: it is not estimated here.
_LEVEL_SD: Final = 1.0

_NAMES: Final = ("n", "feed_exponent", "depth_exponent")


@dataclass(frozen=True, slots=True)
class OwnLives:
    """Edges of one item on one group of material, arrays of shape (lives,).

    Attributes:
        wear: Wear units reached under the constants in force.
        ended: True where wear ended the life, False where it was cut short or broke.
        ln_cut: Wear-weighted means of ln speed, ln feed and ln depth, shape (lives, 3).
        part: Label of the part that was made, 0 up.
        operation_class: Label of what the edge does, 0 up.
    """

    wear: Floats
    ended: Bools
    ln_cut: Floats
    part: Ints
    operation_class: Ints


@dataclass(frozen=True, slots=True)
class CurveDoubt:
    """How unsure a curve is away from the cut at which its level was learned.

    Attributes:
        ln_cut: ln speed, feed and depth of that cut.
        covariance: Of 1/n, a/n and b/n, shape (3, 3).
    """

    ln_cut: tuple[float, float, float]
    covariance: Floats

    def spread_at(self, ln_cut: tuple[float, float, float]) -> float:
        """Standard deviation of ln life at a cut that the exponents add."""
        away = np.subtract(ln_cut, self.ln_cut)
        return math.sqrt(max(float(away @ self.covariance @ away), 0.0))


@dataclass(frozen=True, slots=True)
class OwnEstimate:
    """What the shop's own edges say of the constants.

    Attributes:
        constants: The curve of the estimated exponents; its life at the edges' usual cut is
            that of the constants in force. None where nothing could be estimated.
        standard_errors: Of ``n``, ``feed_exponent``, ``depth_exponent``.
        before: The same before any life was seen.
        ended: Lives that wear ended.
        cut_short: Lives that were cut short.
        holds: Speeds, feeds and depths of the edges; None without any.
        used: Whether the forecast uses it.
        why: Why it does or does not, in one sentence.
        doubt: For the spread of a forecast at other cuts.
    """

    constants: TaylorConstants | None
    standard_errors: dict[str, float]
    before: dict[str, float]
    ended: int
    cut_short: int
    holds: CurveRange | None
    used: bool
    why: str
    doubt: CurveDoubt | None = None


def estimate_from_own_lives(
    lives: OwnLives, in_force: TaylorConstants, *, exponent_spread: float = 0.3
) -> OwnEstimate:
    """Exponents from the shop's own edges, and whether they are sure enough to be used.

    Args:
        lives: Edges of one item on one group of material.
        in_force: The constants under which their wear was counted; they are the prior's
            centre.
        exponent_spread: Relative standard deviation of 1/n before any life was seen.
    """
    told = (lives.wear > 0) & np.isfinite(lives.wear) & np.isfinite(lives.ln_cut).all(axis=1)
    lives = OwnLives(
        lives.wear[told], lives.ended[told], lives.ln_cut[told],
        lives.part[told], lives.operation_class[told],
    )  # fmt: skip
    ended, count = int(lives.ended.sum()), len(lives.wear)
    law = power_law(in_force)
    powers = np.array([law.speed_power, law.feed_power, law.depth_power])
    sd = power_errors_before(in_force, exponent_spread)
    before = _exponent_errors(powers, np.diag(sd**2))
    holds = _range(lives.ln_cut) if count else None
    reason = _too_little(lives)
    if reason or holds is None:
        return OwnEstimate(None, {}, before, ended, count - ended, holds, False, reason)
    centre = lives.ln_cut[lives.ended].mean(axis=0)
    beta, covariance = _corrections(lives, centre, sd)
    found = powers + beta
    errors = _exponent_errors(found, covariance)
    try:
        constants = _curve(np.maximum(found, 0.0), in_force, centre)
    except OutsideModel:
        return OwnEstimate(
            None,
            {},
            before,
            ended,
            count - ended,
            holds,
            False,
            sentence(
                "Not used: 1/n would be {found}; no tool's life goes so with the speed.",
                found=figure(found[0], ".3g"),
            ),
        )
    after = np.sqrt(np.diag(covariance))
    surer = after <= _HALVED * sd
    used = bool(surer[0] or ((surer[1] or surer[2]) and after[0] <= sd[0]))
    return OwnEstimate(
        constants,
        errors,
        before,
        ended,
        count - ended,
        holds,
        used,
        _why(used, surer, after / sd, ended),
        CurveDoubt((float(centre[0]), float(centre[1]), float(centre[2])), covariance),
    )


def power_errors_before(in_force: TaylorConstants, exponent_spread: float) -> Floats:
    """Standard errors of 1/n, a/n and b/n before any life was seen, shape (3,)."""
    at_one_minute = (in_force.c_m_min, None, None)
    known = prior_around(in_force, at_one_minute, name="", exponent_spread=exponent_spread)
    return np.array(known.power_sd)


def _too_little(lives: OwnLives) -> str:
    """Why an estimate would say nothing, empty where it may."""
    ended = int(lives.ended.sum())
    if ended < LEAST_LIVES:
        return sentence(
            "Not used: wear ended {ended} of its edges; {least_lives} are needed.",
            ended=ended,
            least_lives=LEAST_LIVES,
        )
    # a single stray life at another cut is no condition
    ordered = np.sort(lives.ln_cut[lives.ended], axis=0)
    if not np.any(ordered[-2] - ordered[1] >= _DIFFERENT):
        return sentence(
            "Not used: the lives that ended ran at nearly one speed, feed and depth "
            "(within 10 %)."
        )
    return ""


def _corrections(lives: OwnLives, centre: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Corrections of the three powers and their covariance, shapes (3,) and (3, 3)."""
    effects, effect_sd = [], []
    for labels, each in ((lives.operation_class, _CLASS_SD), (lives.part, _PART_SD)):
        kinds, lives_of = np.unique(labels, return_counts=True)
        if len(kinds) > 1:
            # the rare ones say little and cost much: each is left to the scatter of edges
            kinds = kinds[np.argsort(-lives_of, kind="stable")[:_MOST_EFFECTS]]
            effects.append((labels[:, None] == kinds).astype(np.float64))
            effect_sd += [each] * len(kinds)
    count = len(lives.wear)
    design = np.hstack([np.ones((count, 1)), -(lives.ln_cut - centre), *effects])
    spread = np.array([_LEVEL_SD, *sd, *effect_sd])
    prior = RegressionPrior(np.zeros(len(spread)), 1 / spread**2, math.log(1 / 3), 1 / 0.6**2)
    fit = fit_life_regression(design, np.log(lives.wear), lives.ended, prior, "weibull")
    return fit.beta[1:4], fit.covariance[1:4, 1:4]


def _curve(powers: Floats, in_force: TaylorConstants, centre: Floats) -> TaylorConstants:
    """The curve of other powers that promises the same life at a cut."""
    p, q, r = (float(power) for power in powers)
    if not 0.5 <= p <= 100:
        raise OutsideModel(sentence("1/n has to be from 0.5 to 100."))
    references = in_force.reference_feed_mm_rev, in_force.reference_depth_mm
    exponents = TaylorConstants(1 / p, in_force.c_m_min, q / p, r / p, *references)
    speed, feed, depth = np.exp(centre).tolist()
    life = float(life_min(speed, feed, depth, in_force))
    return constants_through_test(exponents, speed, life, feed, depth)


def _exponent_errors(powers: Floats, covariance: Floats) -> dict[str, float]:
    """Standard errors of n, a, b from those of 1/n, a/n, b/n (delta method)."""
    p, q, r = (float(power) for power in powers)
    slopes = np.array([[-1 / p**2, 0, 0], [-q / p**2, 1 / p, 0], [-r / p**2, 0, 1 / p]])
    error = np.sqrt(np.einsum("ij,jk,ik->i", slopes, covariance, slopes))
    return dict(zip(_NAMES, error.tolist(), strict=True))


def _range(ln_cut: Floats) -> CurveRange:
    low, high = np.exp(ln_cut.min(axis=0)).tolist(), np.exp(ln_cut.max(axis=0)).tolist()
    return CurveRange((low[0], high[0]), (low[1], high[1]), (low[2], high[2]))


def _why(used: bool, surer: Bools, left: Floats, ended: int) -> str:
    if not used:
        return sentence(
            "Not used: {ended} ended lives leave {left} of what was uncertain about "
            "the power of the speed; at most half may be left.",
            ended=ended,
            left=figure(left[0], ".0%"),
        )
    powers = (sentence("speed"), sentence("feed"), sentence("depth"))
    told = [name for name, one in zip(powers, surer, strict=True) if one]
    and_the = sentence(" and the ")
    return sentence(
        "Used: {ended} ended lives at different cuts leave less than half of what "
        "was uncertain about the power of the {told}.",
        ended=ended,
        told=together(and_the, told),
    )
