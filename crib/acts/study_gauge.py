"""A gauge's life: bias and spread over its checks, its drift, what first-offs found later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crib.acts.bench_figures import figures_of_bench
from crib.acts.found_later import FoundLater, found_later
from crib.acts.gauge_trust import width_tenths_um
from crib.acts.name_cause import MOST_FIRST_OFFS
from crib.clock import print_instant
from crib.metrology.drift import Drift, study_drift
from crib.metrology.figures import MM, Figures
from crib.metrology.gauge_check import BIAS_SHARE, indices, pooled_deviation
from crib.sentence import Figure, sentence
from crib.store.engine import Tx
from crib.store.first_offs import first_offs_of_shop
from crib.store.presets import CheckResultRow, GaugeRow, checks_of, gauge_row
from crib.store.resolve import resolve_gauge
from crib.units import TENTHS_UM_PER_MM

_MEASURES = ("LF", "WF", "HF")


@dataclass(frozen=True, slots=True)
class CheckShown:
    """One check of a gauge on its master.

    Attributes:
        fact: Its number.
        at: When.
        readings: How many.
        bias_mm: Mean less the master.
        standard_deviation_mm: Of the readings; null for one.
    """

    fact: int
    at: datetime
    readings: int
    bias_mm: float
    standard_deviation_mm: float | None


@dataclass(frozen=True, slots=True)
class DriftShown:
    """A straight line through the bias over time.

    Attributes:
        slope_mm_per_day: Least squares.
        slope_se_mm_per_day: Its standard error; null for two checks.
        drifts: Whether it is more than chance (95 %); null where two checks cannot tell.
        used_up_at: When the line meets the limit; null where nothing speaks for it.
        used_up_earliest_at: The same with the steepest slope that 95 % allow.
        sentence: The same in words.
    """

    slope_mm_per_day: float
    slope_se_mm_per_day: float | None
    drifts: bool | None
    used_up_at: datetime | None
    used_up_earliest_at: datetime | None
    sentence: str


@dataclass(frozen=True, slots=True)
class MeasureStudied:
    """One measure of the master over all checks.

    Attributes:
        measure: LF, WF or HF.
        checks: Each check, in order.
        readings: Readings of all checks together.
        bias_mm: Of the newest check.
        limit_mm: How far the gauge may read off its master.
        standard_deviation_mm: Repeatability, pooled within the checks; null without repeats.
        cg: 0.2 T / (6 s); null without spread.
        cgk: (0.1 T - bias) / (3 s); null without spread.
        drift: Null with fewer than two checks.
        found_later: What first-offs said of the presets made on it; null without any.
    """

    measure: str
    checks: tuple[CheckShown, ...]
    readings: int
    bias_mm: float
    limit_mm: float
    standard_deviation_mm: float | None
    cg: float | None
    cgk: float | None
    drift: DriftShown | None
    found_later: FoundLater | None


@dataclass(frozen=True, slots=True)
class GaugeStudied:
    """What the checks of a gauge show.

    Attributes:
        gauge: Its mark.
        gauge_code: Its code.
        as_of: Facts dated up to then were looked at.
        measures: Each measure that was ever checked.
        sentence: The same in short.
        source: Where the method comes from.
    """

    gauge: str
    gauge_code: str
    as_of: datetime
    measures: tuple[MeasureStudied, ...]
    sentence: str
    source: str


def study_gauge(tx: Tx, as_of: datetime, text: str) -> GaugeStudied:
    """Study a gauge by its checks and by what was found later, up to an instant.

    Raises:
        NotKnown: No such gauge.
        BadCode: A code that is mistyped.
    """
    gauge = gauge_row(tx, resolve_gauge(tx, text).id)
    checks = checks_of(tx, gauge.id, as_of)
    rows = first_offs_of_shop(tx, as_of, MOST_FIRST_OFFS)
    figures = figures_of_bench(tx, gauge)
    measures = tuple(
        measure_studied(
            gauge, name, checks, found_later(tx, rows, gauge.id, name, as_of), figures
        )
        for name in _MEASURES
        if any(name.lower() in check.result for check in checks)
    )
    return GaugeStudied(
        gauge.gauge,
        gauge.code,
        as_of,
        measures,
        _short(gauge, checks),
        sentence(
            "Type 1 study on the setting master: Cg = 0.2 T / 6 s, Cgk = (0.1 T - "
            "|bias|) / 3 s; definition from memory, automotive practice. Drift: "
            "JCGM 100:2008, H.3."
        ),
    )


def measure_studied(
    gauge: GaugeRow,
    measure: str,
    checks: Sequence[CheckResultRow],
    later: FoundLater | None = None,
    figures: Figures = MM,
) -> MeasureStudied:
    """One measure over the checks that have it; at least one does."""
    shown = tuple(
        CheckShown(
            check.id,
            check.at,
            int(one["n"]),
            float(one["bias_mm"]),
            one["standard_deviation_mm"],
        )
        for check in checks
        if (one := check.result.get(measure.lower())) is not None
    )
    width_mm = width_tenths_um(gauge) / TENTHS_UM_PER_MM
    deviation = pooled_deviation([(one.readings, one.standard_deviation_mm) for one in shown])
    bias_mm = shown[-1].bias_mm
    cg, cgk = indices(bias_mm, deviation, width_mm)
    return MeasureStudied(
        measure,
        shown,
        sum(one.readings for one in shown),
        bias_mm,
        BIAS_SHARE * width_mm,
        deviation,
        cg,
        cgk,
        drift_shown(shown, BIAS_SHARE * width_mm, measure, figures),
        later,
    )


def drift_shown(
    checks: Sequence[CheckShown], limit_mm: float, measure: str, figures: Figures = MM
) -> DriftShown | None:
    """The drift over checks; None where they were not made at different times."""
    if len({one.at for one in checks}) < 2:
        return None
    last = max(one.at for one in checks)
    days = np.array([(one.at - last) / timedelta(days=1) for one in checks])
    found = study_drift(days, np.array([one.bias_mm for one in checks]), limit_mm)
    used_up = _after(last, found.used_up_in_days)
    earliest = _after(last, found.used_up_earliest_in_days)
    return DriftShown(
        found.slope_mm_per_day,
        found.slope_se_mm_per_day,
        found.drifts,
        used_up,
        earliest,
        _drift_sentence(measure, found, limit_mm, (used_up, earliest), figures),
    )


def _after(last: datetime, days: float | None) -> datetime | None:
    return None if days is None else last + timedelta(days=days)


def _drift_sentence(
    measure: str,
    found: Drift,
    limit_mm: float,
    until: tuple[datetime | None, datetime | None],
    figures: Figures,
) -> str:
    used_up, earliest = until
    slope = sentence(
        "{measure} moves by {small} a day",
        measure=measure,
        small=figures.small(found.slope_mm_per_day),
    )
    if found.slope_se_mm_per_day is None:
        return sentence(
            "{slope} between two checks; whether that is a drift takes three or more.",
            slope=slope,
        )
    error = sentence(
        "± {removeprefix} (standard error)",
        removeprefix=Figure(figures.small(found.slope_se_mm_per_day).removeprefix("+")),
    )
    if not found.drifts:
        return sentence(
            "{slope} {error} over {checks} checks: no drift beyond chance.",
            slope=slope,
            error=error,
            checks=found.checks,
        )
    if used_up is None:
        return sentence(
            "{slope} {error} over {checks} checks: a drift, but a slow one.",
            slope=slope,
            error=error,
            checks=found.checks,
        )
    first = (
        sentence(", at the earliest {earliest}", earliest=print_instant(earliest))
        if earliest
        else ""
    )
    return sentence(
        "{slope} {error} over {checks} checks: a drift. It meets the limit of "
        "{of_mm} about {used_up}{first}: set the gauge on its master before.",
        slope=slope,
        error=error,
        checks=found.checks,
        of_mm=figures.of_mm(limit_mm),
        used_up=print_instant(used_up),
        first=first,
    )


def _short(gauge: GaugeRow, checks: Sequence[CheckResultRow]) -> str:
    if not checks:
        return sentence(
            "Gauge {gauge} was never checked on its setting master: check it first.",
            gauge=gauge.gauge,
        )
    good = sentence("passed") if checks[-1].valid else sentence("failed")
    return (
        sentence(
            "Gauge {gauge} was checked {checks} times; the last check, at {at}, {good}.",
            gauge=gauge.gauge,
            checks=len(checks),
            at=print_instant(checks[-1].at),
            good=good,
        )
        if len(checks) > 1
        else sentence(
            "Gauge {gauge} was checked {checks} time; the last check, at {at}, {good}.",
            gauge=gauge.gauge,
            checks=len(checks),
            at=print_instant(checks[-1].at),
            good=good,
        )
    )
