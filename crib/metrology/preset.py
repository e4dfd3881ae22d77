"""One preset: repeats on the gauge become exact means, an uncertainty and a verdict."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from crib.errors import Invalid
from crib.metrology.budget import (
    DEFAULT_GAUGE_UNCERTAINTY_MM,
    DEFAULT_REPEATABILITY_MM,
    DEFAULT_RESOLUTION_MM,
    Budget,
    preset_budget,
)
from crib.metrology.figures import MM, Figures
from crib.metrology.outliers import Outlier, find_outlier
from crib.metrology.scatter import KnownScatter
from crib.metrology.uncertainty import conforms, sample_statistics
from crib.sentence import AND, sentence, together
from crib.units import TENTHS_UM_PER_MM, TenthsUm

#: ISO 13399: functional length, width, height, corner radius.
MEASURES = ("LF", "WF", "HF", "RE")

#: Farthest a repeat may lie from the mean, less the uncertainty, where the tool spec sets
#: no tolerance [0.1 µm]; common practice, no source.
DEFAULT_SPREAD_TENTHS_UM = TenthsUm(200)

#: A corner radius may differ from its nominal by this share, or by the tolerance of the
#: lengths where that is more; common practice, no source. The next radius of ISO 1832 is
#: farther away.
RADIUS_SHARE = 10

#: Below so many repeats, measuring more often helps most.
FEW = 3

#: Most repeats that one preset takes.
MOST_READINGS = 1000


@dataclass(frozen=True, slots=True)
class Reading:
    """One look at the assembly through the gauge; None where it was not measured."""

    lf_tenths_um: TenthsUm | None = None
    wf_tenths_um: TenthsUm | None = None
    hf_tenths_um: TenthsUm | None = None
    re_tenths_um: TenthsUm | None = None

    def value(self, measure: str) -> TenthsUm | None:
        """The value of LF, WF, HF or RE."""
        values = (self.lf_tenths_um, self.wf_tenths_um, self.hf_tenths_um, self.re_tenths_um)
        return values[MEASURES.index(measure)]

    def carried(self) -> tuple[str, ...]:
        """The measures that this reading has, in the order of MEASURES."""
        return tuple(name for name in MEASURES if self.value(name) is not None)


@dataclass(frozen=True, slots=True)
class MeasureResult:
    """What the repeats say about one measure.

    Attributes:
        measure: LF, WF, HF or RE.
        n: Repeats.
        mean_tenths_um: Their mean [0.1 µm].
        standard_deviation_mm: None for one repeat.
        type_a_mm: Standard uncertainty of the mean from the scatter of the readings.
        expanded_uncertainty_mm: Covers 95.45 %; k = 2 only where there are many repeats.
        accepted: The verdict.
        why_not: Sentences where it was not accepted.
        outlier: The repeat that does not belong to the others; it stays in the mean.
        budget: What the uncertainty is made of.
    """

    measure: str
    n: int
    mean_tenths_um: TenthsUm
    standard_deviation_mm: float | None
    type_a_mm: float
    expanded_uncertainty_mm: float
    accepted: bool
    why_not: tuple[str, ...]
    outlier: Outlier | None
    budget: Budget


@dataclass(frozen=True, slots=True)
class PresetResult:
    """The verdict over all measures of one preset."""

    measures: tuple[MeasureResult, ...]
    accepted: bool
    why_not: tuple[str, ...]

    def means_tenths_um(self) -> dict[str, TenthsUm]:
        """Mean per measure, as ``crib.metrology.offset`` takes it."""
        return {result.measure: result.mean_tenths_um for result in self.measures}


def mean_tenths_um(values_tenths_um: Sequence[int]) -> TenthsUm:
    """Exact mean of exact lengths, rounded once to 0.1 µm, half to even.

    Examples:
        >>> mean_tenths_um([1, 2]), mean_tenths_um([3, 4]), mean_tenths_um([-1, -2])
        (2, 4, -2)
    """
    whole, rest = divmod(sum(values_tenths_um), len(values_tenths_um))
    twice = 2 * rest
    up = twice > len(values_tenths_um) or (twice == len(values_tenths_um) and whole % 2 == 1)
    return TenthsUm(whole + up)


def half_width_tenths_um(name: str, nominal_tenths_um: int, tolerance_tenths_um: int) -> int:
    """Half the width of the limits of a measure [0.1 µm]; wider for a radius.

    Examples:
        >>> half_width_tenths_um("LF", 800_000, 200), half_width_tenths_um("RE", 8_000, 200)
        (200, 800)
    """
    if name != "RE":
        return tolerance_tenths_um
    return max(tolerance_tenths_um, nominal_tenths_um // RADIUS_SHARE)


def measure(
    readings: Sequence[Reading],
    nominals_tenths_um: Mapping[str, int | None] | None = None,
    tolerance_tenths_um: int | None = None,
    gauge_uncertainty_mm: float = DEFAULT_GAUGE_UNCERTAINTY_MM,
    needed: Iterable[str] | None = None,
    resolution_mm: float = DEFAULT_RESOLUTION_MM,
    known: Mapping[str, KnownScatter] | None = None,
    figures: Figures = MM,
) -> PresetResult:
    """Turn repeats into means, uncertainties and a verdict.

    A measure with nominal and tolerance is accepted when its mean proves conformance (guard
    band = expanded uncertainty) and every reading lies within the tolerance. Without a
    nominal only the spread is judged: every repeat within the guarded tolerance of the mean.
    A radius takes a tenth of its nominal where that is wider than the tolerance.

    Args:
        readings: Repeats, all with the same measures.
        nominals_tenths_um: Nominal per LF, WF, HF, RE [0.1 µm]; a nominal RE above 0 means
            a turning insert.
        tolerance_tenths_um: Half width of the tolerance, ± [0.1 µm].
        gauge_uncertainty_mm: Standard uncertainty of gauge and master [mm].
        needed: Measures that must be there; by default LF and WF as far as they have a
            nominal.
        resolution_mm: Step of the gauge's display [mm].
        known: What one reading of each measure scatters by on this gauge, where known.
        figures: How lengths are written in sentences.

    Raises:
        Invalid: No or too many readings, repeats that disagree about what was measured, a
            needed measure missing, a negative radius, or radius zero on a turning insert.

    References:
        JCGM 100:2008, 4.2, 5.1 and G.4; ISO 14253-1 for the guard band.
    """
    nominals = {
        name: value for name, value in (nominals_tenths_um or {}).items() if value is not None
    }
    _refuse_unknown(nominals)
    if tolerance_tenths_um is not None and tolerance_tenths_um <= 0:
        raise Invalid(sentence("A tolerance must be above zero: give half its width."))
    wanted = [name for name in ("LF", "WF") if name in nominals] if needed is None else needed
    carried = _carried(readings, tuple(wanted))
    _refuse_bad_radius(readings, nominals, figures)
    results = tuple(
        _judge(
            name,
            [value for reading in readings if (value := reading.value(name)) is not None],
            nominals.get(name),
            tolerance_tenths_um,
            partial(
                preset_budget,
                gauge_uncertainty_mm=gauge_uncertainty_mm,
                resolution_mm=resolution_mm,
                known=(known or {}).get(name),
            ),
            figures,
        )
        for name in carried
    )
    why_not = tuple(text for result in results for text in result.why_not)
    return PresetResult(results, not why_not, why_not)


def _refuse_unknown(names: Iterable[str]) -> None:
    unknown = [name for name in names if name not in MEASURES]
    if unknown:
        raise Invalid(
            sentence(
                "{unknown} is not a measure: use {measures}.",
                unknown=together(", ", unknown),
                measures=together(", ", MEASURES),
            )
        )


def _carried(readings: Sequence[Reading], wanted: tuple[str, ...]) -> tuple[str, ...]:
    if not readings:
        raise Invalid(
            sentence(
                "There are no readings: measure the assembly at least once, better three times."
            ),
            errors=[{"field": "readings", "detail": "empty"}],
        )
    if len(readings) > MOST_READINGS:
        raise Invalid(
            sentence(
                "{readings} readings are too many: send at most {most_readings}.",
                readings=len(readings),
                most_readings=MOST_READINGS,
            )
        )
    carried = readings[0].carried()
    if not carried:
        raise Invalid(sentence("The first reading measures nothing: give at least one length."))
    nothing = sentence("nothing")
    for number, reading in enumerate(readings[1:], start=2):
        if reading.carried() != carried:
            raise Invalid(
                sentence(
                    "Reading {number} has {reading}, reading 1 has {carried}: measure "
                    "the same lengths each time.",
                    number=number,
                    reading=", ".join(reading.carried()) or nothing,
                    carried=together(", ", carried),
                ),
                errors=[
                    {"field": f"readings.{number - 1}", "detail": sentence("other measures")}
                ],
            )
    _refuse_unknown(wanted)
    missing = [name for name in wanted if name not in carried]
    if missing:
        raise Invalid(
            sentence(
                "{missing} must be measured for this tool and is missing.",
                missing=together(AND, missing),
            ),
            errors=[
                {"field": f"readings.0.{name.lower()}_mm", "detail": "missing"}
                for name in missing
            ],
        )
    return carried


def _refuse_bad_radius(
    readings: Sequence[Reading], nominals: Mapping[str, int], figures: Figures
) -> None:
    for number, reading in enumerate(readings):
        radius = reading.re_tenths_um
        if radius is None:
            continue
        where = [{"field": f"readings.{number}.re_mm", "detail": sentence("not a nose radius")}]
        if radius < 0:
            raise Invalid(sentence("A nose radius cannot be negative."), errors=where)
        if radius == 0 and nominals.get("RE", 0) > 0:
            raise Invalid(
                sentence(
                    "Reading {number} gives nose radius 0, the turning insert should "
                    "have {exact}: measure the radius again or leave it out.",
                    number=number + 1,
                    exact=figures.exact(nominals["RE"]),
                ),
                errors=where,
            )


def _judge(
    name: str,
    values: Sequence[TenthsUm],
    nominal: int | None,
    tolerance: int | None,
    work_out: Callable[[int, float | None], Budget],
    figures: Figures,
) -> MeasureResult:
    n = len(values)
    mean = mean_tenths_um(values)
    spread = sample_statistics([value / TENTHS_UM_PER_MM for value in values])
    deviation_mm = None if n == 1 else float(spread.standard_deviation)
    budget = work_out(n, deviation_mm)
    type_a_mm = budget.lines[0].contribution if n == 1 else float(spread.type_a)
    expanded_mm = budget.expanded
    why_not: tuple[str, ...]
    if nominal is not None and tolerance is not None:
        half = half_width_tenths_um(name, nominal, tolerance)
        limits = figures.exact(nominal - half), figures.exact(nominal + half)
        why_not = _outside(name, n, (mean, nominal, half), expanded_mm, limits, figures)
        why_not = why_not or _reading_outside(name, values, nominal, half, limits, figures)
    else:
        half = tolerance or DEFAULT_SPREAD_TENTHS_UM
        why_not = _too_wide(name, values, mean, half, expanded_mm, figures)
    return MeasureResult(
        name,
        n,
        mean,
        deviation_mm,
        type_a_mm,
        expanded_mm,
        not why_not,
        why_not,
        find_outlier(
            [value / TENTHS_UM_PER_MM for value in values],
            usual_mm=DEFAULT_REPEATABILITY_MM,
            name=name,
            figures=figures,
        ),
        budget,
    )


def _outside(
    name: str,
    n: int,
    lengths: tuple[int, int, int],
    expanded_mm: float,
    limits: tuple[str, str],
    figures: Figures,
) -> tuple[str, ...]:
    mean, nominal, half = lengths
    lower, upper = limits
    least_mm, most_mm = (nominal - half) / TENTHS_UM_PER_MM, (nominal + half) / TENTHS_UM_PER_MM
    if conforms(mean / TENTHS_UM_PER_MM, least_mm, most_mm, expanded_mm):
        return ()
    if expanded_mm * TENTHS_UM_PER_MM >= half:
        return (
            sentence(
                "{name}: the uncertainty of {up} fills the whole tolerance {lower} to "
                "{upper}; nothing can be accepted. Measure more often or check the "
                "gauge.",
                name=name,
                up=figures.up(expanded_mm),
                lower=lower,
                upper=upper,
            ),
        )
    outside = sentence(
        "{name} is {exact}; the limits are {lower} to {upper}, less the uncertainty "
        "of {up} on each side.",
        name=name,
        exact=figures.exact(mean),
        lower=lower,
        upper=upper,
        up=figures.up(expanded_mm),
    )
    if n < FEW and abs(mean - nominal) <= half:
        return (
            outside,
            sentence(
                "{name}: measure at least {few} times to make it smaller.", name=name, few=FEW
            ),
        )
    return (outside,)


def _reading_outside(
    name: str,
    values: Sequence[int],
    nominal: int,
    half: int,
    limits: tuple[str, str],
    figures: Figures,
) -> tuple[str, ...]:
    """A mean hides a reading that a chip on the seat or a loose screw spoiled."""
    lower, upper = limits
    return tuple(
        sentence(
            "Reading {number} of {name} is {exact}, outside the limits {lower} to "
            "{upper}. Clean the seat and measure again.",
            number=number,
            name=name,
            exact=figures.exact(value),
            lower=lower,
            upper=upper,
        )
        for number, value in enumerate(values, start=1)
        if abs(value - nominal) > half
    )


def _too_wide(
    name: str,
    values: Sequence[int],
    mean: int,
    half: int,
    expanded_mm: float,
    figures: Figures,
) -> tuple[str, ...]:
    farthest = max(values, key=lambda value: abs(value - mean))
    if conforms(
        farthest / TENTHS_UM_PER_MM,
        (mean - half) / TENTHS_UM_PER_MM,
        (mean + half) / TENTHS_UM_PER_MM,
        expanded_mm,
    ):
        return ()
    if len(values) < FEW and abs(farthest - mean) <= half:
        return (
            sentence(
                "{name}: {values} readings leave an uncertainty of {up}; at most "
                "{exact} together with the scatter. Measure at least {few} times.",
                name=name,
                values=len(values),
                up=figures.up(expanded_mm),
                exact=figures.exact(half),
                few=FEW,
            ),
        )
    return (
        sentence(
            "{name} scatters: {exact} against a mean of {exact2}, uncertainty {up}; at "
            "most {exact3} together. Clean the seat and measure again.",
            name=name,
            exact=figures.exact(farthest),
            exact2=figures.exact(mean),
            up=figures.up(expanded_mm),
            exact3=figures.exact(half),
        ),
    )
