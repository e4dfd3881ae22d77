"""A tolerance drawn to scale: limits, guard bands, readings and their mean on one line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crib.units import TENTHS_UM_PER_MM

#: Width of the drawing, the margin beside the outermost mark, and how far apart two written
#: limits have to be [drawing units].
WIDTH = 600.0
MARGIN = 60.0
APART = 190.0


@dataclass(frozen=True, slots=True)
class ScaleDrawn:
    """Where each mark stands, from the left [drawing units].

    Attributes:
        lower: Lower limit.
        upper: Upper limit.
        guard: Width of each guard band, at most half of the tolerance.
        nominal: The nominal.
        mean: Mean of the readings.
        reach: The expanded uncertainty, from the mean to either side.
        readings: Each reading.
        one_text: Whether both limits have to share one text.
        lower_text: Where the text of the lower limit is centred.
        upper_text: Where that of the upper limit is.
    """

    lower: float
    upper: float
    guard: float
    nominal: float
    mean: float
    reach: float
    readings: tuple[float, ...]
    one_text: bool
    lower_text: float
    upper_text: float


def draw_scale(
    nominal_tenths_um: int,
    half_tenths_um: int,
    values_tenths_um: Sequence[int],
    mean_tenths_um: int,
    expanded_mm: float,
) -> ScaleDrawn:
    """Lay out one measure; everything is to one scale, however far out a reading lies.

    Args:
        nominal_tenths_um: Nominal [0.1 µm].
        half_tenths_um: Half the width of the limits [0.1 µm].
        values_tenths_um: The readings [0.1 µm].
        mean_tenths_um: Their mean [0.1 µm].
        expanded_mm: Expanded uncertainty of the mean [mm].
    """
    reach = expanded_mm * TENTHS_UM_PER_MM
    lower, upper = nominal_tenths_um - half_tenths_um, nominal_tenths_um + half_tenths_um
    marks = [lower, upper, mean_tenths_um - reach, mean_tenths_um + reach, *values_tenths_um]
    least, most = min(marks), max(marks)
    unit = (WIDTH - 2 * MARGIN) / (most - least)

    def place(value: float) -> float:
        return round(MARGIN + (value - least) * unit, 1)

    one_text = place(upper) - place(lower) < APART
    return ScaleDrawn(
        lower=place(lower),
        upper=place(upper),
        guard=round(min(reach, half_tenths_um) * unit, 1),
        nominal=place(nominal_tenths_um),
        mean=place(mean_tenths_um),
        reach=round(reach * unit, 1),
        readings=tuple(place(value) for value in values_tenths_um),
        one_text=one_text,
        lower_text=min(max(place(lower), 75.0), WIDTH - 75.0),
        upper_text=min(max(place(upper), 75.0), WIDTH - 75.0),
    )
