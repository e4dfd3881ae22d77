"""How much of the spread of a study is the gauge, the people, the pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crib.errors import OutsideModel

#: Expected range of n normal values over their deviation (d2), n = 2 .. 10; many subgroups.
_D2 = {
    2: 1.128,
    3: 1.693,
    4: 2.059,
    5: 2.326,
    6: 2.534,
    7: 2.704,
    8: 2.847,
    9: 2.970,
    10: 3.078,
}

#: The same for one single subgroup (d2*), n = 2 .. 10.
_D2_SINGLE = {
    2: 1.41421, 3: 1.91155, 4: 2.23887, 5: 2.48124, 6: 2.67253, 7: 2.82981, 8: 2.96288,
    9: 3.07794, 10: 3.17905,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class StudyResult:
    """Deviations of a repeatability study, all in the unit of its values."""

    mean_range: float
    repeatability: float
    reproducibility: float
    gauge: float
    pieces: float
    total: float
    gauge_share_pct: float
    distinct_categories: int


def study(values: npt.ArrayLike) -> StudyResult:
    """Average and range method: repeatability, reproducibility, share of the total.

    Args:
        values: Shape (people, repeats, pieces), each axis 2 to 10 long, one unit.

    Raises:
        OutsideModel: Another shape, a value that is not finite, or no spread at all.

    References:
        Measurement systems analysis manual, 4th edition, average and range method (from
        memory); d2* from tables of the range of normal samples (from memory).
    """
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 3 or not all(2 <= size <= 10 for size in table.shape):
        raise OutsideModel("A study takes 2 to 10 people, repeats and pieces each.")
    if not np.isfinite(table).all():
        raise OutsideModel("A value of the study is not a finite number.")
    people, repeats, pieces = table.shape
    mean_range = float(np.ptp(table, axis=1).mean())
    repeatability = mean_range / _D2[repeats]
    between = float(np.ptp(table.mean(axis=(1, 2)))) / _D2_SINGLE[people]
    reproducibility = float(np.sqrt(max(between**2 - repeatability**2 / (pieces * repeats), 0)))
    piece_deviation = float(np.ptp(table.mean(axis=(0, 1)))) / _D2_SINGLE[pieces]
    gauge = float(np.hypot(repeatability, reproducibility))
    total = float(np.hypot(gauge, piece_deviation))
    if total == 0:
        raise OutsideModel("All values of the study are equal: there is nothing to share out.")
    categories = int(1.41 * piece_deviation / gauge) if gauge > 0 else pieces
    return StudyResult(
        mean_range,
        repeatability,
        reproducibility,
        gauge,
        piece_deviation,
        total,
        100 * gauge / total,
        max(1, categories),
    )
