"""From lengths of an assembly to the figures that the control needs, exact to 0.1 µm.

Convention: offset of an axis = datum of the station + mapped measure, both as distances
from the axis of rotation or along the machine's axis. Where X counts on diameter, every X
figure that is keyed in is twice that.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal

from crib.errors import Invalid
from crib.sentence import AND, sentence, together
from crib.units import EXACT_MM_PER_IN, TenthsUm

AXES = ("X", "Y", "Z")
MAPPINGS = ("+LF", "-LF", "+WF", "-WF", "+HF", "-HF")
UNITS = ("mm", "in")

#: Whole steps of 0.00001 in to 0.1 µm: 1 in = 25.4 mm exactly.
_TENTHS_UM_PER_STEP = Decimal("2.54")
_NO_LENGTH = TenthsUm(0)
_LEAST_STEP = TenthsUm(1)


@dataclass(frozen=True, slots=True)
class StationGeometry:
    """Which measure moves which axis of a station, from which datum, in which figures.

    Args:
        axis_x: One of MAPPINGS, or None where no measure moves X; same for Y and Z.
        datum_x_tenths_um: Offset of an assembly of length zero, X as radius [0.1 µm].
        x_on_diameter: Whether the control takes X on diameter.
        offset_unit: ``mm`` or ``in``, what the control takes.
        offset_increment_tenths_um: Least step of the control's offset table [0.1 µm]; on
            an inch control the nearest whole number of 0.00001 in.
    """

    axis_x: str | None = None
    axis_y: str | None = None
    axis_z: str | None = None
    datum_x_tenths_um: TenthsUm = _NO_LENGTH
    datum_y_tenths_um: TenthsUm = _NO_LENGTH
    datum_z_tenths_um: TenthsUm = _NO_LENGTH
    x_on_diameter: bool = True
    offset_unit: str = "mm"
    offset_increment_tenths_um: TenthsUm = _LEAST_STEP

    def __post_init__(self) -> None:
        for axis, mapping in zip(AXES, (self.axis_x, self.axis_y, self.axis_z), strict=True):
            if mapping is not None and mapping not in MAPPINGS:
                raise Invalid(
                    sentence(
                        "Axis {axis} is mapped to '{mapping}': use one of {mappings} or "
                        "leave it empty.",
                        axis=axis,
                        mapping=mapping,
                        mappings=together(" ", MAPPINGS),
                    )
                )
        if self.offset_unit not in UNITS:
            raise Invalid(
                sentence(
                    "Offsets in '{offset_unit}' are not known: use mm or in.",
                    offset_unit=self.offset_unit,
                )
            )
        if self.offset_increment_tenths_um < 1:
            raise Invalid(sentence("The least step of an offset is at least 0.0001 mm."))

    def axes(self) -> tuple[tuple[str, str | None, TenthsUm], ...]:
        """Axis, mapping and datum [0.1 µm], X first."""
        return (
            ("X", self.axis_x, self.datum_x_tenths_um),
            ("Y", self.axis_y, self.datum_y_tenths_um),
            ("Z", self.axis_z, self.datum_z_tenths_um),
        )


@dataclass(frozen=True, slots=True)
class LearnedDatum:
    """What first-offs showed of the datum of one axis, X as radius.

    Attributes:
        shift_tenths_um: Datum as learned less the one on record [0.1 µm], an estimate.
        expanded_uncertainty_mm: How far the next mount may lie from it, 95 % [mm].
    """

    shift_tenths_um: float
    expanded_uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class AxisOffset:
    """One figure to key in: exact value, and the text rounded once for the control."""

    axis: str
    value_tenths_um: TenthsUm
    on_diameter: bool
    text: str
    unit: str
    expanded_uncertainty_mm: float | None = None

    @property
    def uncertainty_text(self) -> str | None:
        """The expanded uncertainty in the unit and with the places of the text, rounded up."""
        if not self.expanded_uncertainty_mm:
            return None
        # a float's own noise, far below 0.1 µm, is not rounded up
        exact = Decimal(repr(round(self.expanded_uncertainty_mm, 9)))
        least = Decimal(1).scaleb(-len(self.text.partition(".")[2]))
        text = (exact / (EXACT_MM_PER_IN if self.unit == "in" else 1)).quantize(
            least, ROUND_CEILING
        )
        return format(text, "f")


@dataclass(frozen=True, slots=True)
class AxisDifference:
    """What changes on one axis; change is None where the axis stands on one side only."""

    axis: str
    old_tenths_um: TenthsUm | None
    new_tenths_um: TenthsUm | None
    change_tenths_um: TenthsUm | None
    on_diameter: bool
    text: str | None
    unit: str


def offsets_to_key_in(
    measures_tenths_um: Mapping[str, int],
    geometry: StationGeometry,
    uncertainties_mm: Mapping[str, float] | None = None,
    learned: Mapping[str, LearnedDatum] | None = None,
) -> tuple[AxisOffset, ...]:
    """The figures to key in, X first; an axis without mapping and datum is left out.

    Args:
        measures_tenths_um: Measured LF, WF, HF [0.1 µm]; others are ignored.
        geometry: The station.
        uncertainties_mm: Expanded uncertainty per measure [mm], doubled on diameter.
        learned: What first-offs showed of the datum of an axis. The sum of exact lengths and
            that estimate is rounded once, to what the control holds.

    Raises:
        Invalid: The station needs a measure that was not taken.
    """
    missing = [
        sentence("{mapping} for axis {axis}", mapping=mapping[1:], axis=axis)
        for axis, mapping, _ in geometry.axes()
        if mapping is not None and mapping[1:] not in measures_tenths_um
    ]
    if missing:
        raise Invalid(
            sentence(
                "The station needs {missing}: measure the assembly again with it.",
                missing=together(AND, missing),
            )
        )
    offsets = []
    for axis, mapping, datum in geometry.axes():
        if mapping is None and datum == 0:
            continue
        on_diameter = axis == "X" and geometry.x_on_diameter
        factor = 2 if on_diameter else 1
        reach, uncertainty_mm = 0, None
        if mapping is not None:
            reach = measures_tenths_um[mapping[1:]] * (-1 if mapping[0] == "-" else 1)
            uncertainty_mm = (uncertainties_mm or {}).get(mapping[1:])
        value = TenthsUm(factor * (datum + reach))
        told = (learned or {}).get(axis)
        control = geometry.offset_unit, geometry.offset_increment_tenths_um
        if told is not None:
            moved = value + factor * Decimal(repr(told.shift_tenths_um))
            value = keyed_tenths_um(moved, *control)
            uncertainty_mm = math.hypot(uncertainty_mm or 0.0, told.expanded_uncertainty_mm)
        offsets.append(
            AxisOffset(
                axis,
                value,
                on_diameter,
                key_in_text(value, *control),
                geometry.offset_unit,
                None if uncertainty_mm is None else factor * uncertainty_mm,
            )
        )
    return tuple(offsets)


def x_on_diameter(offsets: Sequence[AxisOffset]) -> bool | None:
    """Whether X is keyed in on diameter; None where there is no X among the offsets."""
    return next((one.on_diameter for one in offsets if one.axis == "X"), None)


def key_in_text(
    value_tenths_um: int | Decimal, unit: str = "mm", increment_tenths_um: int = 1
) -> str:
    """A figure as the control takes it: sign, and the places of the control's least step.

    Rounded once, half to even, to that step; zero has no sign. One place stands at least: a
    figure without a decimal point is read as a number of steps by many controls (common
    practice, no source).

    Examples:
        >>> key_in_text(123456), key_in_text(-123456, "in"), key_in_text(123456, "mm", 10)
        ('+12.3456', '-0.48605', '+12.346')
    """
    steps = _steps(value_tenths_um, unit, increment_tenths_um)
    most = 4 if unit == "mm" else 5
    least = str(_least_step(unit, increment_tenths_um))
    places = max(1, most - (len(least) - len(least.rstrip("0"))))
    whole, part = divmod(abs(steps) // 10 ** (most - places), 10**places)
    sign = "" if steps == 0 else "-" if steps < 0 else "+"
    return f"{sign}{whole}.{part:0{places}d}"


def plain_text(
    value_tenths_um: int | Decimal, unit: str = "mm", increment_tenths_um: int = 1
) -> str:
    """A figure that needs no plus, such as a nose radius; else as ``key_in_text``."""
    return key_in_text(value_tenths_um, unit, increment_tenths_um).removeprefix("+")


def keyed_tenths_um(
    value_tenths_um: int | Decimal, unit: str, increment_tenths_um: int
) -> TenthsUm:
    """What the control really holds after the text was keyed in [0.1 µm]."""
    steps = _steps(value_tenths_um, unit, increment_tenths_um)
    if unit == "mm":
        return TenthsUm(steps)
    return TenthsUm(_rounded(steps * _TENTHS_UM_PER_STEP))


def _steps(value_tenths_um: int | Decimal, unit: str, increment_tenths_um: int) -> int:
    """Whole 0.0001 mm or 0.00001 in, a multiple of the control's least step."""
    increment = _least_step(unit, increment_tenths_um)
    exact = Decimal(value_tenths_um) / (1 if unit == "mm" else _TENTHS_UM_PER_STEP)
    return _rounded(exact / increment) * increment


def measures_of_axes(*axes: str | None) -> frozenset[str]:
    """LF, WF, HF as far as the offsets of a station need them.

    Examples:
        >>> sorted(measures_of_axes("+WF", None, "-LF"))
        ['LF', 'WF']
    """
    return frozenset(axis[1:] for axis in axes if axis)


def _least_step(unit: str, increment_tenths_um: int) -> int:
    """The control's least step in whole 0.0001 mm or 0.00001 in."""
    if unit == "mm":
        return increment_tenths_um
    if unit == "in":
        return max(1, _rounded(increment_tenths_um / _TENTHS_UM_PER_STEP))
    raise Invalid(sentence("Offsets in '{unit}' are not known: use mm or in.", unit=unit))


def _rounded(value: Decimal) -> int:
    return int(value.to_integral_value(rounding=ROUND_HALF_EVEN))


def difference(
    new: Sequence[AxisOffset],
    old: Sequence[AxisOffset],
    increment_tenths_um: int = 1,
) -> tuple[AxisDifference, ...]:
    """New figures against those of the assembly before, axis by axis, X first.

    Raises:
        Invalid: An axis counts on diameter on one side only: they cannot be compared.
    """
    new_by, old_by = ({offset.axis: offset for offset in side} for side in (new, old))
    rows = []
    for axis in AXES:
        here, there = new_by.get(axis), old_by.get(axis)
        either = here or there
        if either is None:
            continue
        change = None
        if here is not None and there is not None:
            if here.on_diameter != there.on_diameter:
                raise Invalid(
                    sentence(
                        "Axis {axis} is on diameter in one of the two offsets only.", axis=axis
                    )
                )
            change = TenthsUm(here.value_tenths_um - there.value_tenths_um)
        rows.append(
            AxisDifference(
                axis,
                there.value_tenths_um if there else None,
                here.value_tenths_um if here else None,
                change,
                either.on_diameter,
                None
                if change is None
                else key_in_text(change, either.unit, increment_tenths_um),
                either.unit,
            )
        )
    return tuple(rows)


def _finest(change_tenths_um: int, unit: str) -> str:
    """A step with more places than any control takes."""
    if unit == "mm":
        return key_in_text(change_tenths_um)
    return f"{change_tenths_um / _TENTHS_UM_PER_STEP / 100_000:+.6f}"


def apply_correction(
    offset: AxisOffset, change_tenths_um: int, increment_tenths_um: int = 1
) -> AxisOffset:
    """The offset after a step that the operator keyed in, exact.

    Args:
        offset: The figure before, on diameter or not.
        change_tenths_um: The step in the same figures (X on diameter doubled) [0.1 µm].
        increment_tenths_um: Least step of the control [0.1 µm].

    Raises:
        Invalid: The control cannot hold such a step.
    """
    held = keyed_tenths_um(change_tenths_um, offset.unit, increment_tenths_um)
    if held != change_tenths_um:
        raise Invalid(
            sentence(
                "A step of {finest} {unit} on {axis} is finer than this control takes; "
                "the nearest is {key_in_text} {unit}.",
                finest=_finest(change_tenths_um, offset.unit),
                unit=offset.unit,
                axis=offset.axis,
                key_in_text=key_in_text(change_tenths_um, offset.unit, increment_tenths_um),
            ),
            errors=[
                {
                    "field": "change_mm",
                    "detail": sentence("not a multiple of the control's step"),
                }
            ],
        )
    value = TenthsUm(offset.value_tenths_um + change_tenths_um)
    return AxisOffset(
        offset.axis,
        value,
        offset.on_diameter,
        key_in_text(value, offset.unit, increment_tenths_um),
        offset.unit,
        offset.expanded_uncertainty_mm,
    )
