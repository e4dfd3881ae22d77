"""Whether the gauge may be believed today: repeats on the setting master."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crib.errors import Invalid, OutsideModel
from crib.metrology.figures import MM, Figures
from crib.metrology.preset import mean_tenths_um
from crib.metrology.uncertainty import sample_statistics
from crib.sentence import figure, sentence
from crib.units import TENTHS_UM_PER_MM, TenthsUm

#: Full width of the tolerance that the gauge serves, unless given [0.1 µm]; ± 0.02 mm,
#: common practice, no source.
DEFAULT_TOLERANCE_WIDTH_TENTHS_UM = TenthsUm(400)

#: Share of the tolerance width that the gauge may spread over, and be off to one side.
SPREAD_SHARE = 0.2
BIAS_SHARE = 0.1

#: Least index for a full study, and from how many repeats on it is one.
LEAST_INDEX = 1.33
FULL_STUDY = 10

#: Least index for the few repeats of a morning check; common practice, no source.
LEAST_INDEX_SHORT = 1.0


@dataclass(frozen=True, slots=True)
class GaugeCheck:
    """Bias, spread and indices of a gauge on its master; valid or why not.

    Cg and Cgk are None where there is no spread to divide by.
    """

    n: int
    mean_tenths_um: TenthsUm
    bias_mm: float
    standard_deviation_mm: float | None
    cg: float | None
    cgk: float | None
    valid: bool
    why_not: tuple[str, ...]


def check_gauge(
    readings_tenths_um: Sequence[int],
    master_tenths_um: int,
    tolerance_width_tenths_um: int = DEFAULT_TOLERANCE_WIDTH_TENTHS_UM,
    figures: Figures = MM,
) -> GaugeCheck:
    """Judge a gauge by repeats on its setting master.

    ``Cg = 0.2 T / (6 s)``, ``Cgk = (0.1 T - |bias|) / (3 s)``. From ten repeats on both must
    reach 1.33; fewer, as in a morning check, must reach 1.0. The bias must stay within 0.1 T
    in any case. Ten equal repeats show no scatter and are no study.

    Args:
        readings_tenths_um: Repeats on the master [0.1 µm].
        master_tenths_um: Calibrated length of the master [0.1 µm].
        tolerance_width_tenths_um: T, the full width of the tolerance served [0.1 µm].
        figures: How the gauge writes lengths.

    Raises:
        Invalid: No readings, or a tolerance that is not above zero.

    References:
        Type 1 gauge study; definition from memory (automotive practice; some plants use 4 s
        and 2 s).
    """
    if not readings_tenths_um:
        raise Invalid(
            sentence("There are no readings of the master: measure it at least once."),
            errors=[{"field": "readings", "detail": "empty"}],
        )
    if tolerance_width_tenths_um <= 0:
        raise Invalid(sentence("The tolerance that the gauge serves must be above zero."))
    found = judge_errors(
        [(value - master_tenths_um) / TENTHS_UM_PER_MM for value in readings_tenths_um],
        tolerance_width_tenths_um / TENTHS_UM_PER_MM,
        figures,
    )
    why_not = found.why_not
    if found.n >= FULL_STUDY:
        why_not = (*why_no_study(found.n, found.standard_deviation_mm), *why_not)
    return GaugeCheck(
        found.n,
        mean_tenths_um(readings_tenths_um),
        found.bias_mm,
        found.standard_deviation_mm,
        found.cg,
        found.cgk,
        not why_not,
        why_not,
    )


def why_no_study(n: int, deviation_mm: float | None) -> tuple[str, ...]:
    """Why repeats are no study of a gauge: one, or all equal, show nothing of its scatter."""
    if n == 1:
        return (
            sentence("One reading shows no scatter: measure the master at least ten times."),
        )
    if not deviation_mm:
        return (
            sentence(
                "All {n} readings are equal and show no scatter: the display is too "
                "coarse for a study, or one reading was copied. Measure again with "
                "more digits.",
                n=n,
            ),
        )
    return ()


@dataclass(frozen=True, slots=True)
class GaugeErrors:
    """What the errors of a gauge on its master come to; see ``GaugeCheck``."""

    n: int
    bias_mm: float
    standard_deviation_mm: float | None
    cg: float | None
    cgk: float | None
    why_not: tuple[str, ...]


def judge_errors(
    errors_mm: Sequence[float], width_mm: float, figures: Figures = MM
) -> GaugeErrors:
    """Bias, spread and indices of readings less the master; see ``check_gauge``.

    Args:
        errors_mm: Readings less the calibrated length of the master [mm].
        width_mm: T, the full width of the tolerance served [mm].
        figures: How the gauge writes lengths.

    Raises:
        OutsideModel: No readings, one that is not finite, or a width not above zero.
    """
    if not 0 < width_mm < float("inf"):
        raise OutsideModel(sentence("The tolerance that the gauge serves must be above zero."))
    statistics = sample_statistics(errors_mm)
    bias_mm = float(statistics.mean)
    deviation_mm = None if statistics.n == 1 else float(statistics.standard_deviation)
    cg, cgk = indices(bias_mm, deviation_mm, width_mm)
    why_not = _why_not(statistics.n, bias_mm, width_mm, (cg, cgk), figures)
    return GaugeErrors(statistics.n, bias_mm, deviation_mm, cg, cgk, why_not)


def indices(
    bias_mm: float, deviation_mm: float | None, width_mm: float
) -> tuple[float | None, float | None]:
    """``Cg = 0.2 T / (6 s)`` and ``Cgk = (0.1 T - |bias|) / (3 s)``; None without spread."""
    if not deviation_mm:
        return None, None
    cg = SPREAD_SHARE * width_mm / (6 * deviation_mm)
    return cg, (BIAS_SHARE * width_mm - abs(bias_mm)) / (3 * deviation_mm)


def pooled_deviation(series: Sequence[tuple[int, float | None]]) -> float | None:
    """Deviation within several series of repeats, each about its own mean.

    Args:
        series: Number of repeats and their standard deviation, None for one repeat; all in one
            unit.

    Returns:
        Root of the variances weighted by their degrees of freedom, in that unit; None without
        any.
    """
    known = [(n - 1, deviation) for n, deviation in series if n > 1 and deviation is not None]
    freedom = sum(weight for weight, _ in known)
    if not freedom:
        return None
    return float(np.sqrt(sum(weight * dev**2 for weight, dev in known) / freedom))


def _why_not(
    n: int,
    bias_mm: float,
    width_mm: float,
    reached: tuple[float | None, float | None],
    figures: Figures,
) -> tuple[str, ...]:
    cg, cgk = reached
    sentences = []
    most_mm = BIAS_SHARE * width_mm
    if abs(bias_mm) > most_mm * (1 + 1e-9):
        sentences.append(
            sentence(
                "The gauge reads {of_mm} off the master; at most {of_mm2}. Clean both, "
                "set the gauge on the master and check again.",
                of_mm=figures.of_mm(bias_mm, sign=True),
                of_mm2=figures.of_mm(most_mm),
            )
        )
    least = LEAST_INDEX if n >= FULL_STUDY else LEAST_INDEX_SHORT
    if cg is not None and cg < least:
        sentences.append(
            sentence(
                "The readings scatter too much for this tolerance: Cg is {cg}, at least "
                "{least}. Clean the seat and look for play.",
                cg=figure(cg, ".2f"),
                least=figure(least, ".2f"),
            )
        )
    if cgk is not None and cgk < least and not sentences:
        sentences.append(
            sentence(
                "Bias and scatter together are too much for this tolerance: Cgk is "
                "{cgk}, at least {least}. Set the gauge on the master and check again.",
                cgk=figure(cgk, ".2f"),
                least=figure(least, ".2f"),
            )
        )
    return tuple(sentences)
