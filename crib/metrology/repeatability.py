"""How much of the spread of a study is the gauge, the people, the pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crib.errors import OutsideModel
from crib.sentence import sentence

#: Deviation over the mean range of many subgroups of n (1 / d2), as the manual rounds it.
_PER_RANGE = {
    2: 0.8862, 3: 0.5908, 4: 0.4857, 5: 0.4299, 6: 0.3946, 7: 0.3698, 8: 0.3512, 9: 0.3367,
    10: 0.3249,
}  # fmt: skip

#: The same for the range of one single subgroup of n (1 / d2*).
_PER_SINGLE_RANGE = {
    2: 0.7071, 3: 0.5231, 4: 0.4467, 5: 0.4030, 6: 0.3742, 7: 0.3534, 8: 0.3375, 9: 0.3249,
    10: 0.3146,
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
        memory), with its constants K1, K2, K3.
    """
    try:
        table = np.asarray(values, dtype=np.float64)
    except ValueError:
        raise OutsideModel(
            sentence(
                "Each person measures each piece equally often: give the same number of values "
                "for each."
            )
        ) from None
    if table.ndim != 3 or not all(2 <= size <= 10 for size in table.shape):
        raise OutsideModel(sentence("A study takes 2 to 10 people, repeats and pieces each."))
    if not np.isfinite(table).all():
        raise OutsideModel(sentence("A value of the study is not a finite number."))
    people, repeats, pieces = table.shape
    mean_range = float(np.ptp(table, axis=1).mean())
    repeatability = mean_range * _PER_RANGE[repeats]
    between = float(np.ptp(table.mean(axis=(1, 2)))) * _PER_SINGLE_RANGE[people]
    reproducibility = float(np.sqrt(max(between**2 - repeatability**2 / (pieces * repeats), 0)))
    piece_deviation = float(np.ptp(table.mean(axis=(0, 1)))) * _PER_SINGLE_RANGE[pieces]
    gauge = float(np.hypot(repeatability, reproducibility))
    total = float(np.hypot(gauge, piece_deviation))
    if total == 0:
        raise OutsideModel(
            sentence("All values of the study are equal: there is nothing to share out.")
        )
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
