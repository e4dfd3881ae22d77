"""Which of several repeats does not belong to the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from crib.errors import OutsideModel
from crib.metrology.figures import MM, Figures
from crib.metrology.uncertainty import sample_statistics
from crib.sentence import figure, sentence

#: Chance of naming a reading where all belong together.
SIGNIFICANCE = 0.05

#: Fewest repeats that the test takes.
FEWEST = 3


@dataclass(frozen=True, slots=True)
class Outlier:
    """A reading that does not belong to the others.

    Attributes:
        reading: Its number, the first is 1.
        value_mm: The reading itself [mm].
        grubbs: Its distance from the mean over the standard deviation.
        critical: What that stays below in 95 of 100 series without an outlier.
        sentence: What was found and what to do.
    """

    reading: int
    value_mm: float
    grubbs: float
    critical: float
    sentence: str


def find_outlier(
    values_mm: Sequence[float], *, usual_mm: float = 0.0, name: str = "", figures: Figures = MM
) -> Outlier | None:
    """The reading farthest from the mean, where chance seldom puts one so far.

    Nothing is dropped: the outlier is named, and measuring again is what helps.

    Args:
        values_mm: Repeats [mm].
        usual_mm: What readings usually scatter by, or a step of the display [mm]; a reading
            within one and a half of it from the mean is none, however equal the others are.
        name: What was measured, for the sentence.
        figures: How its lengths are written there.

    Returns:
        The outlier; None where there is none, or fewer than three repeats.

    Raises:
        OutsideModel: No repeats, one that is not finite, or a negative scatter.

    References:
        Grubbs 1969, Procedures for detecting outlying observations in samples; two-sided
        test at 5 %, critical value from Student's t as in ISO 5725-2 (from memory).

    Examples:
        >>> find_outlier([10.001, 10.002, 10.001, 10.002, 10.031]).reading
        5
    """
    if not (np.isfinite(usual_mm) and usual_mm >= 0):
        raise OutsideModel(
            sentence("What readings usually scatter by is finite, zero or more.")
        )
    statistics = sample_statistics(values_mm)
    deviation = float(statistics.standard_deviation)
    if statistics.n < FEWEST or deviation == 0:
        return None
    apart = np.abs(np.asarray(values_mm, dtype=np.float64) - float(statistics.mean))
    farthest = int(np.argmax(apart))
    grubbs = float(apart[farthest]) / deviation
    critical = grubbs_critical(statistics.n)
    if grubbs <= critical or apart[farthest] <= 1.5 * usual_mm:
        return None
    what = sentence("{name}: reading", name=name) if name else sentence("Reading")
    return Outlier(
        farthest + 1,
        float(values_mm[farthest]),
        grubbs,
        critical,
        sentence(
            "{what} {farthest} ({of_mm}) does not belong to the other {n}: it lies "
            "{grubbs} standard deviations from the mean, chance seldom goes beyond "
            "{critical} (Grubbs, 5 %). Clean the seat and measure again; no reading was "
            "left out.",
            what=what,
            farthest=farthest + 1,
            of_mm=figures.of_mm(values_mm[farthest]),
            n=statistics.n - 1,
            grubbs=figure(grubbs, ".2f"),
            critical=figure(critical, ".2f"),
        ),
    )


def grubbs_critical(n: int, significance: float = SIGNIFICANCE) -> float:
    """Critical value of the two-sided test for one outlier among n (Grubbs 1969).

    ``(n-1)/sqrt(n) * sqrt(t2 / (n - 2 + t2))``, t at ``significance / (2 n)`` with n - 2
    degrees of freedom.

    Raises:
        OutsideModel: Fewer than three, or a significance outside 0 to 1, ends excluded.

    Examples:
        >>> round(grubbs_critical(10), 3)
        2.29
    """
    if n < FEWEST or not 0 < significance < 1:
        raise OutsideModel(sentence("The test for an outlier takes three repeats or more."))
    t2 = float(stdtrit(n - 2, 1 - significance / (2 * n))) ** 2
    return float((n - 1) / np.sqrt(n) * np.sqrt(t2 / (n - 2 + t2)))
