"""What one reading of a gauge scatters by, as its earlier presets and checks show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtr, chdtri, fdtri

from crib.arrays import Floats

#: Fewest degrees of freedom, and fewest presets, from which a scatter counts as known;
#: common practice, no source.
FEWEST_FREEDOM = 10
FEWEST_PRESETS = 5

#: Share of the spreads that are cut back before pooling, so that one loose screw does not
#: spoil what is known of the gauge (ISO 13528, algorithm S, from memory).
CUT_SHARE: Final = 0.1

#: How surely a gauge scatters by no more than what counts as known.
SURELY: Final = 0.95

#: How surely a spread has to be wider than the known one to be judged by itself.
WIDER_LEVEL: Final = 0.95


@dataclass(frozen=True, slots=True)
class KnownScatter:
    """Standard deviation that one reading surely keeps to [mm], and how well it is known."""

    standard_deviation_mm: float
    degrees_of_freedom: float

    def agrees(self, deviation_mm: float, degrees_of_freedom: int) -> bool:
        """Whether chance alone may explain a spread of new repeats (F test, one-sided)."""
        most = fdtri(degrees_of_freedom, self.degrees_of_freedom, WIDER_LEVEL)
        return bool(deviation_mm**2 <= most * self.standard_deviation_mm**2)

    def pooled(self, deviation_mm: float, degrees_of_freedom: int) -> KnownScatter:
        """The same with a spread of new repeats.

        References:
            Pooled estimate of a measurement under statistical control: JCGM 100:2008, 4.2.4.
        """
        freedom = self.degrees_of_freedom + degrees_of_freedom
        variance = self.degrees_of_freedom * self.standard_deviation_mm**2
        variance += degrees_of_freedom * deviation_mm**2
        return KnownScatter(float(np.sqrt(variance / freedom)), freedom)


def known_scatter(
    presets: Sequence[tuple[int, float | None]], check_deviation_mm: float | None = None
) -> KnownScatter | None:
    """What earlier presets show of a gauge's repeatability; None where that is too little.

    Repeats that are all equal show no scatter and are left out. A check on the setting
    master never narrows it: a tool seldom sits as well as the master.

    Args:
        presets: Repeats of each earlier preset and their standard deviation [mm], None for
            one repeat.
        check_deviation_mm: Deviation within the checks on the master [mm], if there is one.

    References:
        Robust pooled deviation: ISO 13528, algorithm S (from memory); its limit and factor
        follow from the chi-squared distribution of the variances.

    Examples:
        >>> found = known_scatter([(3, 0.002)] * 20)
        >>> round(found.standard_deviation_mm, 4), found.degrees_of_freedom
        (0.0026, 40)
        >>> known_scatter([(3, 0.002)] * 4) is None
        True
    """
    shown = [(n - 1, spread) for n, spread in presets if n > 1 and spread]
    freedom = sum(one for one, _ in shown)
    if len(shown) < FEWEST_PRESETS or freedom < FEWEST_FREEDOM:
        return None
    deviation = _robust(
        np.array([one for one, _ in shown], dtype=np.float64),
        np.array([spread for _, spread in shown], dtype=np.float64),
    )
    deviation *= float(np.sqrt(freedom / chdtri(freedom, SURELY)))
    return KnownScatter(max(deviation, check_deviation_mm or 0.0), freedom)


def _robust(freedom: Floats, spreads: Floats) -> float:
    """Algorithm S for spreads of several degrees of freedom."""
    cut = chdtri(freedom, CUT_SHARE)  # chi-squared where the cut begins
    # mean of a cut variance, in units of the true one
    mean = chdtr(freedom + 2, cut) + CUT_SHARE * cut / freedom
    variance = float(np.median(spreads**2 * freedom / chdtri(freedom, 0.5)))
    for _ in range(100):
        kept = np.minimum(spreads**2, variance * cut / freedom)
        last, variance = variance, float(freedom @ kept / (freedom @ mean))
        if abs(variance - last) <= 1e-9 * variance:
            break
    return float(np.sqrt(variance))
