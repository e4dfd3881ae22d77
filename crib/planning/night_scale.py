"""By how much chances of unattended stretches are scaled, from how earlier ones went."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

#: Failures expected that the plain forecast is worth (common practice, no source).
_WORTH: Final = 2.0
_LEAST, _MOST = 0.3, 1.5


def night_scale(expected: Sequence[float], failed: Sequence[bool]) -> float:
    """Factor on the hazard of unattended stretches ahead.

    Failures are taken as Poisson with a mean of the factor times what was expected, the factor
    as gamma distributed about 1 (conjugate; Gelman et al., Bayesian Data Analysis, section
    2.6, from memory); its mean after the stretches is given, held between 0.3 and 1.5.

    Args:
        expected: Cumulative hazard of each edge in each stretch as forecast without a factor,
            so that the factor never chases itself.
        failed: Whether it failed in it.
    """
    factor = (_WORTH + sum(map(bool, failed))) / (_WORTH + sum(expected))
    return min(max(factor, _LEAST), _MOST)
