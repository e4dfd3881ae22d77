"""Tool-life constants estimated from lives at several cuts, with their uncertainty and range.

``ln T = L - 1/n ln(v/v0) - a/n ln(f/f0) - b/n ln(d/d0) + sigma W``: Taylor's extended equation
as a regression of censored lives (see ``constants_regression``); v0, f0, d0 are the lives' own
geometric means.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats
from crib.errors import OutsideModel
from crib.life.constants_estimate import ConstantsEstimate, estimate_of_fit, spread_out
from crib.life.constants_prior import (
    LEAST_SCATTER,
    ConstantsPrior,
    columns_of,
    held_by_prior,
    prior_of_any_tool,
    regression_prior,
)
from crib.life.constants_regression import (
    LAWS,
    LifeRegression,
    RegressionPrior,
    fit_life_regression,
    flat_prior,
)
from crib.life.constants_tests import LifeTests
from crib.sentence import OR, figure, sentence, together, word

#: How much of the prior is used: only where the lives do not tell, always, or never.
USES: Final = ("least", "full", "none")

#: Powers 1/n of the speed that a tool can have: n from 0.01 to 2.
_POWERS: Final = (0.5, 100.0)

#: The lives determine a constant where they halve its uncertainty.
_HALVED: Final = 0.5

#: A life that is off its line by this factor is asked about.
_ASK: Final = math.log(10.0)

_NAMES: Final = ("speed", "feed", "depth")


def estimate_constants(
    tests: LifeTests,
    prior: ConstantsPrior | None = None,
    *,
    use: str = "least",
    law: str = "lognormal",
    reference_feed_mm_rev: float | None = None,
    reference_depth_mm: float | None = None,
) -> ConstantsEstimate:
    """Constants of the extended Taylor equation from lives, some of them cut short.

    Args:
        tests: Lives at their cuts.
        prior: What is known before; left out: what is known of any tool.
        use: ``least``: only for constants that the lives leave wider than the prior, so that
            sound tests give least squares and its degrees of freedom; ``full``: always;
            ``none``: never, which is maximum likelihood.
        law: ``lognormal``, as least squares on ln T assumes (ISO 3685, from memory), or
            ``weibull``, as the life model does.
        reference_feed_mm_rev: Feed at which C holds; None: C is for 1 mm/rev.
        reference_depth_mm: Depth at which C holds; None: C is for 1 mm.

    Raises:
        OutsideModel: Lives that do not fall with the speed, or too few for ``none``.
    """
    if use not in USES or law not in LAWS:
        raise OutsideModel(
            sentence(
                "The prior is used {uses} and a law is {laws}.",
                uses=together(", ", USES),
                laws=together(OR, LAWS),
            ),
        )
    prior = prior or prior_of_any_tool()
    given = np.array([True, tests.feed_mm_rev is not None, tests.depth_mm is not None])
    used = given.copy()
    notes: list[str] = []
    while True:
        fit, held = _fitted(tests, used, prior, use, law)
        powers = spread_out(fit.beta[1:], used)
        if not _POWERS[0] <= powers[0] <= _POWERS[1]:
            raise OutsideModel(
                sentence(
                    "These lives do not fall with the cutting speed as any tool's do "
                    "(1/n would be {powers}; it lies from 0.5 to 100). Check speeds and "
                    "lives.",
                    powers=figure(powers[0], ".3g"),
                ),
                errors=[
                    {"field": "tests", "detail": sentence("faster tests have to live shorter")}
                ],
            )
        wrong = (powers < 0) & used
        if not wrong.any():
            break
        number = int(np.argmin(powers))
        used[number] = False
        notes.append(
            sentence(
                "Life grew with the {names} in these tests, which no tool's does; its "
                "exponent is given as 0.",
                names=_NAMES[number],
            )
        )
    sd = columns_of(prior, used)[1][1:]
    after = np.sqrt(np.diag(fit.covariance))[1:-1]
    told = spread_out(
        ~held[1:] if use != "full" else after <= _HALVED * sd,
        used,
    ).astype(bool)
    notes += _untold(tests, given & used, told, prior)
    notes += _doubts(tests, fit, int(used.sum()) + 1)
    return estimate_of_fit(
        tests, fit, used, told, tuple(notes), law, reference_feed_mm_rev, reference_depth_mm
    )


def _fitted(
    tests: LifeTests,
    used: Bools,
    prior: ConstantsPrior,
    use: str,
    law: str,
) -> tuple[LifeRegression, Bools]:
    """The fit and which coefficients the prior holds."""
    design = np.hstack([np.ones((len(tests), 1)), -tests.log_cut()[:, used]])
    mean, sd = columns_of(prior, used)
    known: RegressionPrior
    if use == "none":
        held = np.zeros(len(sd), dtype=bool)
        known = flat_prior(len(sd))
    elif use == "full":
        held = np.ones(len(sd), dtype=bool)
        known = regression_prior(prior, mean, sd, held, ended=0, scatter_told=False)
    else:
        return _fitted_least(tests, design, prior, (mean, sd), law)
    return fit_life_regression(design, np.log(tests.life_min), tests.ended, known, law), held


def _fitted_least(
    tests: LifeTests,
    design: Floats,
    prior: ConstantsPrior,
    columns: tuple[Floats, Floats],
    law: str,
) -> tuple[LifeRegression, Bools]:
    """The prior only where the lives need it, judged by the scatter that they turn out to have.

    It also takes the speed where that alone would have lives grow with it: two lives may be
    out of order by chance.
    """
    mean, sd = columns
    response = np.log(tests.life_min)
    scattered = _scatter(design[tests.ended], response[tests.ended]) > 1e-3
    held = held_by_prior(design, tests.ended, sd)
    while True:
        known = regression_prior(
            prior, mean, sd, held, ended=int(tests.ended.sum()), scatter_told=scattered
        )
        fit = fit_life_regression(design, response, tests.ended, known, law)
        judged = held_by_prior(design, tests.ended, sd, max(fit.sigma, LEAST_SCATTER))
        judged[1] |= not _POWERS[0] <= fit.beta[1] <= _POWERS[1]
        if not (judged & ~held).any():
            return fit, held
        held |= judged


def _scatter(design: Floats, response: Floats) -> float:
    if not len(response):
        return 0.0
    line = np.linalg.lstsq(design, response, rcond=None)[0]
    return float(np.sqrt(np.mean((response - design @ line) ** 2)))


def _untold(tests: LifeTests, given: Bools, told: Bools, prior: ConstantsPrior) -> list[str]:
    notes: list[str] = []
    for number in np.flatnonzero(given & ~told):
        name = word(_NAMES[number])
        what = "n" if number == 0 else sentence("the {name} exponent", name=name)
        notes.append(
            sentence(
                "The lives do not determine {what}: {why_untold}. It relies on the "
                "prior ({name}).",
                what=what,
                why_untold=tests.why_untold(int(number)),
                name=prior.name,
            )
        )
    return notes


def _doubts(tests: LifeTests, fit: LifeRegression, coefficients: int) -> list[str]:
    notes: list[str] = []
    ended = int(tests.ended.sum())
    if not ended:
        notes.append(
            sentence("No test ran to its end: all that is known is that lives are longer.")
        )
    elif ended < coefficients + 3:
        notes.append(
            sentence(
                "Only {ended} of the tests ran to the end: too few to estimate how "
                "much edges differ; the residual deviation relies on the prior.",
                ended=ended,
            )
        )
    if ended >= 2 and coefficients == 2:  # only the speed was varied
        speed, life = np.log(tests.cutting_speed_m_min), np.log(tests.life_min)
        if np.cov(speed[tests.ended], life[tests.ended])[0, 1] > 0:
            notes.append(
                sentence(
                    "Faster tests lasted longer here, which no tool does: check speeds and "
                    "lives before you use n."
                )
            )
    if ended >= 4:
        off = fit.residuals - float(np.median(fit.residuals[tests.ended]))
        for row in np.flatnonzero(tests.ended & (np.abs(off) > _ASK)):
            notes.append(
                sentence(
                    "Test {row} lived {exp} times longer than the curve says; check it.",
                    row=row + 1,
                    exp=figure(math.exp(min(abs(off[row]), 50)), ".3g"),
                )
                if off[row] > 0
                else sentence(
                    "Test {row} lived {exp} times shorter than the curve says; check it.",
                    row=row + 1,
                    exp=figure(math.exp(min(abs(off[row]), 50)), ".3g"),
                )
            )
    return notes
