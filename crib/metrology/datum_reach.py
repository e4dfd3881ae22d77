"""How far the true datum may lie from where it is believed to be, stated as 95 %.

The estimate leans on the usual station. How well it is known must not: what is stated takes
every walk and scatter for possible until the station's own first-offs tell.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtr

from crib.arrays import Floats

#: What is stated as 95 %: as much as k = 2 covers of a normal.
LEVEL: Final = 0.9544997361

#: Halvings of the bracket, to a thousandth of its width; the line through what is left errs by
#: some 1e-5 of the result.
_HALVINGS: Final = 10


def reach(center: Floats, means: Floats, variances: Floats, log_weights: Floats) -> Floats:
    """Half width about a center that holds ``LEVEL`` of a mixture of normals.

    A few wide parts make the tails heavy, like Student's t, so that a multiple of the
    standard deviation would not do.

    Args:
        center: Shape (stations,).
        means: Of the parts, shape (stations, parts).
        variances: Of the parts, same shape.
        log_weights: Of the parts, same shape, up to a constant per station.

    Returns:
        Half widths, shape (stations,).

    References:
        The bracket is Chebyshev's inequality; the interval is that of JCGM 101:2008, 5.3,
        made symmetric about the estimate.

    Examples:
        >>> one = np.zeros((1, 1))
        >>> round(float(reach(np.zeros(1), one, one + 1, one)[0]), 3)
        2.0
    """
    weights = np.exp(log_weights - np.logaddexp.reduce(log_weights, axis=1)[:, None])
    off = np.abs(means - center[:, None])
    sds = np.maximum(np.sqrt(variances), np.finfo(np.float64).tiny)
    low, least = np.zeros(center.shape), np.zeros(center.shape)
    moment = np.einsum("sk,sk->s", weights, variances + np.square(off))
    high, most = np.sqrt(moment / (1 - LEVEL)), np.ones(center.shape)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        half = middle[:, None]
        parts = ndtr((half - off) / sds) - ndtr((-half - off) / sds)
        inside = np.einsum("sk,sk->s", weights, parts)
        short = inside < LEVEL
        low, least = np.where(short, middle, low), np.where(short, inside, least)
        high, most = np.where(short, high, middle), np.where(short, most, inside)
    return np.asarray(low + (high - low) * (LEVEL - least) / (most - least))
