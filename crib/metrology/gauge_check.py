"""Whether the gauge may be believed today: repeats on the setting master."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crib.errors import Invalid, OutsideModel
from crib.metrology.preset import mean_tenths_um
from crib.metrology.uncertainty import sample_statistics
from crib.units import TenthsUm

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
) -> GaugeCheck:
    """Judge a gauge by repeats on its setting master.

    ``Cg = 0.2 T / (6 s)``, ``Cgk = (0.1 T - |bias|) / (3 s)``. From ten repeats on both must
    reach 1.33; fewer, as in a morning check, must reach 1.0. The bias must stay within 0.1 T
    in any case.

    Args:
        readings_tenths_um: Repeats on the master [0.1 µm].
        master_tenths_um: Calibrated length of the master [0.1 µm].
        tolerance_width_tenths_um: T, the full width of the tolerance served [0.1 µm].

    Raises:
        Invalid: No readings, or a tolerance that is not above zero.

    References:
        Type 1 gauge study; definition from memory (automotive practice; some plants use 4 s
        and 2 s).
    """
    if not readings_tenths_um:
        raise Invalid(
            "There are no readings of the master: measure it at least once.",
            errors=[{"field": "readings", "detail": "empty"}],
        )
    if tolerance_width_tenths_um <= 0:
        raise Invalid("The tolerance that the gauge serves must be above zero.")
    n = len(readings_tenths_um)
    errors_mm = [(value - master_tenths_um) / 10_000 for value in readings_tenths_um]
    statistics = sample_statistics(errors_mm)
    width_mm = tolerance_width_tenths_um / 10_000
    bias_mm = float(statistics.mean)
    deviation_mm = None if n == 1 else float(statistics.standard_deviation)
    cg = cgk = None
    if deviation_mm:
        cg = SPREAD_SHARE * width_mm / (6 * deviation_mm)
        cgk = (BIAS_SHARE * width_mm - abs(bias_mm)) / (3 * deviation_mm)
    why_not = _why_not(n, bias_mm, width_mm, cg, cgk)
    return GaugeCheck(
        n,
        mean_tenths_um(readings_tenths_um),
        bias_mm,
        deviation_mm,
        cg,
        cgk,
        not why_not,
        why_not,
    )


def _why_not(
    n: int, bias_mm: float, width_mm: float, cg: float | None, cgk: float | None
) -> tuple[str, ...]:
    sentences = []
    most_mm = BIAS_SHARE * width_mm
    if abs(bias_mm) > most_mm * (1 + 1e-9):
        sentences.append(
            f"The gauge reads {bias_mm:+.4f} mm off the master; at most {most_mm:.4f} mm. "
            "Clean both, set the gauge on the master and check again."
        )
    least = LEAST_INDEX if n >= FULL_STUDY else LEAST_INDEX_SHORT
    if cg is not None and cg < least:
        sentences.append(
            f"The readings scatter too much for this tolerance: Cg is {cg:.2f}, at least "
            f"{least:.2f}. Clean the seat and look for play."
        )
    if cgk is not None and cgk < least and not sentences:
        sentences.append(
            f"Bias and scatter together are too much for this tolerance: Cgk is {cgk:.2f}, at "
            f"least {least:.2f}. Set the gauge on the master and check again."
        )
    return tuple(sentences)


def drift_mm_per_day(days: npt.ArrayLike, bias_mm: npt.ArrayLike) -> float:
    """Slope of the bias over time by least squares.

    Args:
        days: When each check was made [d], shape (checks,).
        bias_mm: Bias found [mm], shape (checks,).

    Returns:
        Drift [mm/d].

    Raises:
        OutsideModel: Fewer than two checks at different times, or unequal lengths.
    """
    when, bias = np.asarray(days, dtype=np.float64), np.asarray(bias_mm, dtype=np.float64)
    if when.shape != bias.shape or when.ndim != 1 or not np.isfinite([when, bias]).all():
        raise OutsideModel("Give one finite bias for each check.")
    centred = when - when.mean() if when.size else when
    if not np.any(centred):
        raise OutsideModel("A drift needs two checks at different times.")
    return float(centred @ (bias - bias.mean()) / (centred @ centred))
