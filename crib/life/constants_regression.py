"""Lives regressed on what shortens them: censored, with a prior, by Newton's method.

``y = X beta + sigma W`` for the logarithm y of a life, where W follows the smallest extreme
value law (lives then follow Weibull's, with shape ``1/sigma``) or the normal law. A life that
was cut short tells only that W lies above. (Lawless, Statistical Models and Methods for
Lifetime Data, location-scale regression; Nelson, Accelerated Testing; both from memory.)
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import log_ndtr

from crib.arrays import Bools, Floats
from crib.errors import OutsideModel
from crib.sentence import sentence

LAWS: Final = ("weibull", "lognormal")

_STEPS = 300
_LOG_TAU = math.log(2 * math.pi)
_FAR = 1_000.0
#: Logarithms of lives closer to a line than this lie on it.
_NO_SCATTER = 1e-6
_LEAST_LN_SIGMA = math.log(1e-8)


@dataclass(frozen=True, slots=True)
class RegressionPrior:
    """Independent normal priors; a precision of 0 is flat.

    Attributes:
        mean: Centre of each coefficient, shape (coefficients,).
        precision: One over its variance, same shape.
        ln_sigma_mean: Centre of ln sigma.
        ln_sigma_precision: One over its variance.
        coefficients_spent: Power of sigma in the prior. With as many as there are flat
            coefficients, sigma is judged by the degrees of freedom that the fit leaves, as
            least squares does it; with 0 and all else flat the mode is maximum likelihood.
    """

    mean: Floats
    precision: Floats
    ln_sigma_mean: float = 0.0
    ln_sigma_precision: float = 0.0
    coefficients_spent: float = 0.0


@dataclass(frozen=True, slots=True)
class LifeRegression:
    """The mode and the normal curve around it (Laplace's approximation).

    Attributes:
        beta: Coefficients, shape (coefficients,).
        sigma: Scale of ln life around the line; Weibull's shape is ``1/sigma``.
        covariance: Of the coefficients and ln sigma, shape (coefficients + 1,) squared.
        log_likelihood: Of the lives at the mode, priors left out.
        residuals: ``y - X beta``, shape (lives,).
    """

    beta: Floats
    sigma: float
    covariance: Floats
    log_likelihood: float
    residuals: Floats


def flat_prior(coefficients: int) -> RegressionPrior:
    """Nothing known: the mode is the maximum of the likelihood."""
    return RegressionPrior(np.zeros(coefficients), np.zeros(coefficients))


def _extreme_value(z: Floats, ended: Floats) -> tuple[Floats, Floats, Floats]:
    """Log density (or survival) of W and its first two slopes: ``z - e^z``, ``-e^z``."""
    rise = np.exp(np.minimum(z, 300.0))
    return ended * z - rise, ended - rise, -rise


def _normal(z: Floats, ended: Floats) -> tuple[Floats, Floats, Floats]:
    """As above for the normal law, exact also far out in the tail of those cut short."""
    z = np.clip(z, -1e100, 1e100)
    outlives = log_ndtr(-z)
    # Far out both logarithms are large and alike; there the hazard is z + 1/z (from memory).
    near = np.minimum(z, _FAR)
    hazard = np.exp(-0.5 * (near * near + _LOG_TAU) - log_ndtr(-near))
    hazard = np.where(z > _FAR, z + 1 / np.maximum(z, _FAR), hazard)
    gone = ended > 0
    value = np.where(gone, -0.5 * (z * z + _LOG_TAU), outlives)
    return value, np.where(gone, -z, -hazard), np.where(gone, -1.0, -hazard * (hazard - z))


_LAW: Final[dict[str, Callable[[Floats, Floats], tuple[Floats, Floats, Floats]]]] = {
    "weibull": _extreme_value,
    "lognormal": _normal,
}


def fit_life_regression(
    design: Floats,
    response: Floats,
    ended: Bools,
    prior: RegressionPrior,
    law: str = "weibull",
) -> LifeRegression:
    """The most probable line and its uncertainty.

    Args:
        design: X, shape (lives, coefficients).
        response: y, shape (lives,).
        ended: False where the life was cut short, shape (lives,).
        prior: What is known before; see ``RegressionPrior``.
        law: ``weibull`` or ``lognormal``.

    Raises:
        OutsideModel: Lives and prior leave the answer without a finite maximum.
    """
    _refuse_boundless(design, response, ended, prior)
    told = ended.astype(np.float64)
    law_of = _LAW[law]
    count = design.shape[1]

    def posterior(at: Floats) -> float:
        beta, ln_sigma = at[:count], float(at[count])
        z = (response - design @ beta) * math.exp(min(-ln_sigma, 300.0))
        off = beta - prior.mean
        return (
            float(law_of(z, told)[0].sum())
            - ln_sigma * (float(told.sum()) - prior.coefficients_spent)
            - 0.5 * float(prior.precision @ (off * off))
            - 0.5 * prior.ln_sigma_precision * (ln_sigma - prior.ln_sigma_mean) ** 2
        )

    def slopes(at: Floats) -> tuple[Floats, Floats]:
        """Gradient and minus the matrix of second derivatives."""
        beta, ln_sigma = at[:count], float(at[count])
        sigma = math.exp(ln_sigma)
        z = (response - design @ beta) / sigma
        _, first, second = law_of(z, told)
        off = beta - prior.mean
        wide = ln_sigma - prior.ln_sigma_mean
        gradient = np.append(
            -design.T @ first / sigma - prior.precision * off,
            -float(first @ z)
            - (float(told.sum()) - prior.coefficients_spent)
            - prior.ln_sigma_precision * wide,
        )
        bent = np.empty((count + 1, count + 1))
        bent[:count, :count] = -(design.T * second) @ design / sigma**2
        bent[:count, :count][np.diag_indices(count)] += prior.precision
        mixed = -design.T @ (second * z + first) / sigma
        bent[:count, count] = bent[count, :count] = mixed
        bent[count, count] = -float((second * z + first) @ z) + prior.ln_sigma_precision
        return gradient, bent

    mode = _climb(posterior, slopes, _start(design, response, ended, prior))
    beta, sigma = mode[:count], float(np.exp(mode[count]))
    residuals = response - design @ beta
    likelihood = float(law_of(residuals / sigma, told)[0].sum() - told.sum() * mode[count])
    return LifeRegression(beta, sigma, _inverse(slopes(mode)[1]), likelihood, residuals)


def _refuse_boundless(
    design: Floats, response: Floats, ended: Bools, prior: RegressionPrior
) -> None:
    """Whether the lives and the prior together hold every coefficient and sigma."""
    held = np.vstack([design[ended], np.diag(np.sqrt(prior.precision))])
    scale = np.sqrt((held * held).sum(axis=0))
    rank = np.linalg.matrix_rank(held / np.where(scale > 0, scale, 1.0), tol=1e-9)
    if np.any(scale == 0) or rank < design.shape[1]:
        raise OutsideModel(
            sentence(
                "The lives alone do not determine every constant: some of speed, feed "
                "and depth did not change, or only together; use a prior, or test at "
                "more conditions."
            )
        )
    if prior.ln_sigma_precision > 0:
        return
    line = np.linalg.lstsq(design[ended], response[ended], rcond=None)[0]
    miss = response[ended] - design[ended] @ line
    if float(np.abs(miss).max(initial=0.0)) <= _NO_SCATTER:
        raise _no_scatter()


def _no_scatter() -> OutsideModel:
    return OutsideModel(
        sentence(
            "The lives lie on the line without any scatter, so the spread between "
            "edges is not known; use a prior, or more tests than constants."
        )
    )


def _start(design: Floats, response: Floats, ended: Bools, prior: RegressionPrior) -> Floats:
    """Least squares through the lives that ended, held by the prior; then their scatter."""
    x, y = (design[ended], response[ended]) if ended.any() else (design, response)
    matrix = x.T @ x + np.diag(prior.precision + 1e-9 * (1 + (x * x).sum(axis=0)))
    beta = np.linalg.solve(matrix, x.T @ y + prior.precision * prior.mean)
    scatter = float(np.sqrt(np.mean((y - x @ beta) ** 2))) if y.size else 0.0
    middle = math.exp(prior.ln_sigma_mean) if prior.ln_sigma_precision > 0 else 1e-3
    # From where a life cut short lies many sigmas past the line the way back is long.
    past = float(np.max(response - design @ beta)) / 5
    return np.append(beta, math.log(max(scatter, 0.3 * middle, past)))


def _climb(
    posterior: Callable[[Floats], float],
    slopes: Callable[[Floats], tuple[Floats, Floats]],
    start: Floats,
) -> Floats:
    """Newton's steps, shortened towards the gradient where the hill is not yet a dome."""
    at, height, damping = start, posterior(start), 1e-3
    for _ in range(_STEPS):
        gradient, bent = slopes(at)
        size = np.abs(np.diag(bent)) + 1e-12
        while damping < 1e16:
            step = _solved(bent + damping * np.diag(size), gradient)
            if step is not None:
                step *= min(1.0, 2 / max(abs(float(step[-1])), 1e-300))
                tried = posterior(at + step)
                if tried >= height:
                    break
            damping *= 8
        else:
            return at  # no step leads higher: at is the top, to the last digit
        gain = float(gradient @ step)
        at, height, damping = at + step, tried, max(damping / 20, 1e-14)
        if at[-1] < _LEAST_LN_SIGMA:
            raise _no_scatter()
        if gain < 1e-18 * (1 + abs(height)):
            return at
    raise OutsideModel(
        sentence(
            "The fit of the constants did not converge; check the lives for typing errors."
        )
    )


def _solved(matrix: Floats, gradient: Floats) -> Floats | None:
    """The step, None where the matrix is not positive definite."""
    try:
        lower = np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        return None
    step: Floats = np.linalg.solve(lower.T, np.linalg.solve(lower, gradient))
    return step if np.all(np.isfinite(step)) else None


def _inverse(bent: Floats) -> Floats:
    """Covariance at the mode, by way of scaled rows so that units do not matter.

    A direction along which the hill is flat would have no bound; it gets a wide finite one.
    """
    scale = 1 / np.sqrt(np.maximum(np.abs(np.diag(bent)), 1e-12))
    values, vectors = np.linalg.eigh(bent * np.outer(scale, scale))
    inverse = (vectors / np.maximum(values, 1e-10)) @ vectors.T
    return np.asarray(inverse * np.outer(scale, scale))
