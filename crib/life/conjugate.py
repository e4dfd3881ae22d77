"""A Weibull life of known shape with a Gamma prior on its rate: closed forms.

Rate ``L = theta^-k ~ Gamma(a, b)``; ``ln theta`` then has mean ``(ln b - digamma(a)) / k`` and
variance ``trigamma(a) / k^2``. The inverse of the trigamma function is read from a table,
since it is wanted for every key and shape; the interpolation is good to about 1e-5.
"""

from __future__ import annotations

import numpy as np
from scipy.special import digamma, gammaln, zeta

from crib.life.taylor import Floats

_LOG_A: Floats = np.linspace(np.log(1e-4), np.log(1e7), 6000)
# trigamma(a) = zeta(2, a), Hurwitz.
_LOG_TRIGAMMA: Floats = np.log(zeta(2.0, np.exp(_LOG_A)))


def trigamma(a: Floats) -> Floats:
    """Second derivative of ln Gamma, for 1e-4 <= a <= 1e7."""
    return np.exp(np.interp(np.log(a), _LOG_A, _LOG_TRIGAMMA))


def inverse_trigamma(y: Floats) -> Floats:
    """The a with ``trigamma(a) = y``, held within 1e-4 to 1e7."""
    return np.exp(np.interp(-np.log(y), -_LOG_TRIGAMMA, _LOG_A))


def rate_prior(mean: Floats, sd: Floats, shape: float) -> tuple[Floats, Floats]:
    """``a0`` and ``ln b0`` that give ``ln theta`` this mean and deviation."""
    a = inverse_trigamma((shape * sd) ** 2)
    return a, digamma(a) + shape * mean


def log_scale_moments(a: Floats, log_b: Floats, shape: float) -> tuple[Floats, Floats]:
    """Mean and variance of ``ln theta``."""
    return (log_b - digamma(a)) / shape, trigamma(a) / shape**2


def log_evidence(
    a0: Floats,
    log_b0: Floats,
    worn: Floats,
    log_sum_powers: Floats,
    sum_log_worn: Floats,
    shape: float,
) -> tuple[Floats, Floats]:
    """Log marginal likelihood of a key's lives, and ``ln b`` of the posterior.

    ``sum over worn (ln k + (k-1) ln x) + gammaln(a) - gammaln(a0) + a0 ln b0 - a ln b``, with
    ``a = a0 + worn`` and ``b = b0 + sum x^k``.

    Args:
        a0: Prior, shape (keys,).
        log_b0: Prior, shape (keys,).
        worn: Worn edges, shape (keys,).
        log_sum_powers: ``ln sum x^k`` over all lives, -inf without any, shape (keys,).
        sum_log_worn: Sum of ``ln x`` over worn edges, shape (keys,).
        shape: k.
    """
    a = a0 + worn
    log_b = np.logaddexp(log_b0, log_sum_powers)
    data = worn * np.log(shape) + (shape - 1) * sum_log_worn
    return data + gammaln(a) - gammaln(a0) + a0 * log_b0 - a * log_b, log_b
