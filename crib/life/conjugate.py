"""One key at one shape: normal prior on ln scale, exact likelihood, closed-form predictions.

With a Weibull shape k and rate ``L = theta^-k``, lives ``x_i`` of which d are worn have the
likelihood ``L^d exp(-L sum x_i^k)``, exact under censoring. Its product with a normal prior on
``u = ln theta`` has its mode in closed form (Lambert's W); Gauss-Hermite nodes around it give
mean, variance and marginal likelihood. Predictions then take the rate as ``Gamma(a, b)`` of the
same mean and variance of u: exact where lives dominate, and ``S(x) = (b / (b + x^k))^a``.

A Gamma prior would spare the nodes, but it hardly gives way when lives are much shorter than
promised: ten lives at a quarter of the promise would still be forecast half too long.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.polynomial.hermite import hermgauss
from scipy.special import digamma, wrightomega, zeta

from crib.arrays import Floats

_LOG_A: Floats = np.linspace(np.log(1e-4), np.log(1e7), 6000)
# trigamma(a) = zeta(2, a), Hurwitz.
_LOG_TRIGAMMA: Floats = np.log(zeta(2.0, np.exp(_LOG_A)))
_NODES, _NODE_WEIGHTS = hermgauss(15)
_LOG_NODE_WEIGHTS: Floats = np.log(_NODE_WEIGHTS) + _NODES**2


class Moments(NamedTuple):
    """Posterior of ln scale, arrays of shape (keys,)."""

    mean: Floats
    variance: Floats
    log_evidence: Floats


def inverse_trigamma(y: Floats) -> Floats:
    """The a with ``trigamma(a) = y``, held within 1e-4 to 1e7; from a table, to about 1e-5."""
    return np.exp(np.interp(-np.log(y), -_LOG_TRIGAMMA, _LOG_A))


def rate_from_moments(mean: Floats, variance: Floats, shape: float) -> tuple[Floats, Floats]:
    """``a`` and ``ln b`` of the Gamma rate whose ln scale has this mean and variance.

    ``ln theta`` then has mean ``(ln b - digamma(a)) / k`` and variance ``trigamma(a) / k^2``.
    """
    a = inverse_trigamma(shape**2 * variance)
    return a, digamma(a) + shape * mean


def posterior_moments(
    mean: Floats,
    variance: Floats,
    worn: Floats,
    log_sum_powers: Floats,
    shape: float,
) -> Moments:
    """Moments of ln scale after lives, and their marginal likelihood.

    The likelihood leaves out the factor ``k^d prod x_i^(k-1)`` of the worn ages.

    Args:
        mean: Prior mean of ln scale, shape (keys,).
        variance: Prior variance, shape (keys,).
        worn: Worn edges d, shape (keys,).
        log_sum_powers: ``ln sum x^k`` over all lives, shape (keys,).
        shape: k.
    """
    # u = c - v k d + v k B e^(-k u); y = v k^2 B e^(-k u) solves y e^y = z, with ln z below.
    shift = mean - variance * shape * worn
    log_z = np.log(variance * shape**2) + log_sum_powers - shape * shift
    y = np.asarray(wrightomega(log_z), dtype=np.float64)
    mode = shift + y / shape
    width = np.sqrt(2 * variance / (1 + y))
    # Relative to the mode: u = mode + t, and the log density there less that at the mode. From
    # y = v k^2 B e^(-k mode) the lives' part is y / (v k^2) e^(-k t).
    t = width * _NODES[:, None]
    lean, pull = (mode - mean) / variance + shape * worn, y / (variance * shape**2)
    fall = t * (t * (0.5 / variance) + lean) + pull * np.expm1(np.minimum(-shape * t, 600))
    weights = np.exp(_LOG_NODE_WEIGHTS[:, None] - fall)
    total = weights.sum(axis=0)
    offset = np.sum(weights * t, axis=0) / total
    spread = np.sum(weights * (t - offset) ** 2, axis=0) / total
    top = -0.5 * (mode - mean) ** 2 / variance - shape * worn * mode - pull
    evidence = top + np.log(total * width / np.sqrt(2 * np.pi * variance))
    return Moments(mode + offset, spread, evidence)
