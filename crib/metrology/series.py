"""Repeats of one length by themselves: mean, spread, uncertainty, steady enough or not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crib.errors import OutsideModel
from crib.metrology.budget import (
    DEFAULT_GAUGE_UNCERTAINTY_MM,
    DEFAULT_RESOLUTION_MM,
    Budget,
    preset_budget,
)
from crib.metrology.figures import MM, Figures
from crib.metrology.outliers import Outlier, find_outlier
from crib.metrology.uncertainty import conforms, sample_statistics
from crib.sentence import sentence


@dataclass(frozen=True, slots=True)
class SeriesResult:
    """Statistics of one series [mm]; deviation and what follows from it None for one repeat.

    ``accepted`` and ``budget`` are None where no uncertainty can be stated, ``outlier`` where
    the repeats belong together.
    """

    n: int
    mean_mm: float
    standard_deviation_mm: float | None
    type_a_mm: float | None
    expanded_uncertainty_mm: float | None
    accepted: bool | None
    outlier: Outlier | None
    budget: Budget | None


def judge_series(
    readings_mm: Sequence[float],
    tolerance_mm: float,
    gauge_uncertainty_mm: float = DEFAULT_GAUGE_UNCERTAINTY_MM,
    resolution_mm: float = DEFAULT_RESOLUTION_MM,
    figures: Figures = MM,
) -> SeriesResult:
    """Judge repeats without a nominal: each within the guarded tolerance of their mean.

    Args:
        readings_mm: Repeats [mm].
        tolerance_mm: Half width of the tolerance, ± [mm].
        gauge_uncertainty_mm: Standard uncertainty of gauge and master [mm].
        resolution_mm: Step of the gauge's display [mm].
        figures: How lengths are written in a sentence.

    Raises:
        OutsideModel: No readings, one that is not finite, or a tolerance not above zero.

    References:
        JCGM 100:2008, 4.2, 5.1 and G.4; ISO 14253-1, guard band = expanded uncertainty.
    """
    if not 0 < tolerance_mm < float("inf"):
        raise OutsideModel(sentence("A tolerance must be above zero: give half its width."))
    statistics = sample_statistics(readings_mm)
    mean_mm = float(statistics.mean)
    if statistics.n == 1:
        return SeriesResult(1, mean_mm, None, None, None, None, None, None)
    deviation_mm = float(statistics.standard_deviation)
    budget = preset_budget(statistics.n, deviation_mm, gauge_uncertainty_mm, resolution_mm)
    farthest_mm = max(readings_mm, key=lambda value: abs(value - mean_mm))
    accepted = conforms(
        farthest_mm, mean_mm - tolerance_mm, mean_mm + tolerance_mm, budget.expanded
    )
    return SeriesResult(
        statistics.n,
        mean_mm,
        deviation_mm,
        float(statistics.type_a),
        budget.expanded,
        accepted,
        find_outlier(readings_mm, figures=figures),
        budget,
    )
