"""Checking a gauge on its setting master before it is believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta

from crib.acts.bench_figures import figures_of_bench
from crib.acts.gauge_trust import width_tenths_um
from crib.acts.study_gauge import DriftShown, measure_studied
from crib.acts.who_and_when import record, who_and_when
from crib.errors import Invalid
from crib.metrology.budget import DEFAULT_REPEATABILITY_MM
from crib.metrology.figures import Figures
from crib.metrology.gauge_check import GaugeCheck, check_gauge
from crib.metrology.outliers import Outlier, find_outlier
from crib.metrology.preset import Reading
from crib.records.measures import refuse_readings
from crib.sentence import sentence, together
from crib.store.engine import Tx
from crib.store.presets import (
    CheckResultRow,
    GaugeRow,
    checks_of,
    gauge_row,
    insert_gauge_check,
)
from crib.store.resolve import resolve_gauge
from crib.units import TENTHS_UM_PER_MM

_MEASURES = ("LF", "WF", "HF")

#: Most repeats that one check takes.
MOST_READINGS = 1000


@dataclass(frozen=True, slots=True)
class CheckGauge:
    """Repeats of a gauge on its setting master; each reading has the measures it took."""

    gauge: str
    readings: Sequence[Reading]
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class MeasureChecked:
    """The verdict over one measure of the master.

    Attributes:
        measure: LF, WF or HF.
        check: Bias, spread and indices of these readings.
        outlier: The reading that does not belong to the others; null where none is.
        drift: Of the gauge over its checks, this one included; null for the first.
    """

    measure: str
    check: GaugeCheck
    outlier: Outlier | None
    drift: DriftShown | None


@dataclass(frozen=True, slots=True)
class GaugeChecked:
    """The verdict over a gauge; while it is valid, presets on it are accepted."""

    fact_id: int
    gauge: str
    code: str
    at: datetime
    valid: bool
    valid_until: datetime | None
    why_not: tuple[str, ...]
    measures: tuple[MeasureChecked, ...]


def check_gauge_on_master(tx: Tx, present: datetime, command: CheckGauge) -> GaugeChecked:
    """Judge a gauge by its master; the newest check is the one that counts.

    The gauge's check tolerance is how far it may read off the master.

    Raises:
        Invalid: No readings, repeats that disagree about what was measured, or no master
            length for a measure.
        NotKnown: No such gauge.
    """
    told = who_and_when(tx, present, command)
    gauge = gauge_row(tx, resolve_gauge(tx, command.gauge).id)
    refuse_readings(command.readings)
    columns = _columns(command.readings)
    figures = figures_of_bench(tx, gauge)
    judged = judge_on_master(gauge, command.readings, figures)
    why_not = tuple(
        together(": ", (name, text)) for name, one in judged.items() for text in one.why_not
    )
    fact_id = record(tx, "gauge_check", told)
    insert_gauge_check(
        tx,
        fact_id,
        gauge_id=gauge.id,
        readings=[
            {name: reading.value(name) for name in columns} for reading in command.readings
        ],
        result={name.lower(): asdict(one) for name, one in judged.items()},
        valid=not why_not,
    )
    checks = checks_of(tx, gauge.id, told.at)
    until = told.at + timedelta(hours=gauge.check_hours)
    return GaugeChecked(
        fact_id=fact_id,
        gauge=gauge.gauge,
        code=gauge.code,
        at=told.at,
        valid=not why_not,
        valid_until=None if why_not else until,
        why_not=why_not,
        measures=tuple(
            _measure_checked(name, one, columns[name], gauge, checks, figures)
            for name, one in judged.items()
        ),
    )


def judge_on_master(
    gauge: GaugeRow, readings: Sequence[Reading], figures: Figures
) -> dict[str, GaugeCheck]:
    """What readings of the master say of a gauge, by measure; nothing is recorded.

    Raises:
        Invalid: As ``check_gauge_on_master`` does.
    """
    return {
        name: check_gauge(values, _master(gauge, name), width_tenths_um(gauge), figures)
        for name, values in _columns(readings).items()
    }


def _measure_checked(
    name: str,
    check: GaugeCheck,
    values: Sequence[int],
    gauge: GaugeRow,
    checks: Sequence[CheckResultRow],
    figures: Figures,
) -> MeasureChecked:
    return MeasureChecked(
        name,
        check,
        find_outlier(
            [value / TENTHS_UM_PER_MM for value in values],
            usual_mm=DEFAULT_REPEATABILITY_MM,
            name=name,
            figures=figures,
        ),
        measure_studied(gauge, name, checks, figures=figures).drift,
    )


def _columns(readings: Sequence[Reading]) -> dict[str, list[int]]:
    """Readings by measure; every reading has the same ones."""
    if not readings:
        raise Invalid(
            sentence("There are no readings of the master: measure it at least once."),
            errors=[{"field": "readings", "detail": "empty"}],
        )
    if len(readings) > MOST_READINGS:
        raise Invalid(
            sentence(
                "{readings} readings are too many: send at most {most_readings}.",
                readings=len(readings),
                most_readings=MOST_READINGS,
            ),
            errors=[
                {
                    "field": "readings",
                    "detail": sentence("at most {most_readings}", most_readings=MOST_READINGS),
                }
            ],
        )
    carried = [name for name in _MEASURES if readings[0].value(name) is not None]
    if not carried:
        raise Invalid(
            sentence("The first reading measures nothing: give LF, WF or HF."),
            errors=[{"field": "readings.0", "detail": sentence("measures nothing")}],
        )
    columns: dict[str, list[int]] = {name: [] for name in carried}
    for number, reading in enumerate(readings):
        for name in _MEASURES:
            value = reading.value(name)
            if (value is not None) != (name in columns):
                raise Invalid(
                    sentence(
                        "Reading {number} measures other lengths than reading 1: "
                        "measure the same ones each time.",
                        number=number + 1,
                    ),
                    errors=[
                        {"field": f"readings.{number}", "detail": sentence("other measures")}
                    ],
                )
            if value is not None:
                columns[name].append(value)
    return columns


def _master(gauge: GaugeRow, measure: str) -> int:
    masters = {
        "LF": gauge.master_lf_tenths_um,
        "WF": gauge.master_wf_tenths_um,
        "HF": gauge.master_hf_tenths_um,
    }
    length = masters[measure]
    if length is None:
        raise Invalid(
            sentence(
                "Gauge {gauge} has no {measure} of its setting master on record: add "
                "master_{measure2}_mm to the gauge, or leave {measure} out.",
                gauge=gauge.gauge,
                measure=measure,
                measure2=measure.lower(),
            ),
            errors=[
                {"field": f"readings.0.{measure.lower()}_mm", "detail": sentence("no master")}
            ],
        )
    return length
