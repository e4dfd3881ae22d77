"""Rows of presets and gauge checks: what was measured, on what, accepted or not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, bindparam, exists, func, insert, select

from crib.store.assemblies import stands
from crib.store.engine import Tx
from crib.store.field_types import without_other_types
from crib.store.named_rows import named, named_rows
from crib.store.tables import (
    facts,
    gauge_checks,
    metadata,
    preset_overrides,
    preset_readings,
    presets,
)

_T = metadata.tables
_gauges, _people = _T["gauges"], _T["people"]
_supervisors = _people.alias("supervisors")


@dataclass(frozen=True, slots=True)
class PresetRow:
    """One preset with its means [0.1 µm] and uncertainties [mm].

    ``override_by`` and ``override_reason`` say who overrode a missing check of its gauge,
    and why.
    """

    id: int
    assembly_id: int
    at: datetime
    by: str | None
    gauge: str | None
    accepted: bool
    why_not: Sequence[str]
    lf_tenths_um: int | None
    wf_tenths_um: int | None
    hf_tenths_um: int | None
    re_tenths_um: int | None
    standard_deviation_mm: Mapping[str, float | None]
    expanded_uncertainty_mm: Mapping[str, float]
    void_after: datetime
    override_by: str | None
    override_reason: str | None

    def measures_tenths_um(self) -> dict[str, int]:
        """The lengths that were measured, by LF, WF and HF."""
        lengths = {"LF": self.lf_tenths_um, "WF": self.wf_tenths_um, "HF": self.hf_tenths_um}
        return {name: value for name, value in lengths.items() if value is not None}


#: Gauge, outcome and override of a preset, for a statement that ``with_gauge`` joins.
PRESET_COLUMNS: tuple[ColumnElement[Any], ...] = (
    _gauges.c.gauge,
    presets.c.accepted,
    presets.c.why_not,
    presets.c.lf_tenths_um,
    presets.c.wf_tenths_um,
    presets.c.hf_tenths_um,
    presets.c.re_tenths_um,
    presets.c.standard_deviation_mm,
    presets.c.expanded_uncertainty_mm,
    presets.c.void_after,
    _supervisors.c.name.label("override_by"),
    preset_overrides.c.reason.label("override_reason"),
)


def with_gauge(statement: Select[Any]) -> Select[Any]:
    """The statement about presets, joined to what ``PRESET_COLUMNS`` takes from elsewhere."""
    return (
        statement.outerjoin(_gauges, _gauges.c.id == presets.c.gauge_id)
        .outerjoin(preset_overrides, preset_overrides.c.preset_id == presets.c.fact_id)
        .outerjoin(_supervisors, _supervisors.c.id == preset_overrides.c.person_id)
    )


PRESET_ROWS: Select[Any] = with_gauge(
    select(
        presets.c.fact_id,
        presets.c.assembly_id,
        facts.c.at,
        _people.c.name.label("by"),
        *PRESET_COLUMNS,
    )
    .join(facts, facts.c.id == presets.c.fact_id)
    .outerjoin(_people, _people.c.id == facts.c.person_id)
)
_LATEST = (
    PRESET_ROWS.where(presets.c.assembly_id == bindparam("of_assembly_id"))
    .order_by(presets.c.fact_id.desc())
    .limit(1)
)
_SPREADS: Select[Any] = (
    select(
        select(func.count())
        .where(preset_readings.c.preset_id == presets.c.fact_id)
        .scalar_subquery(),
        presets.c.standard_deviation_mm,
    )
    .join(facts, facts.c.id == presets.c.fact_id)
    .where(
        presets.c.gauge_id.is_not_distinct_from(bindparam("of_gauge_id")),
        facts.c.at <= bindparam("up_to"),
        stands(presets.c.fact_id),
    )
    .order_by(presets.c.fact_id.desc())
    .limit(bindparam("most"))
)
_INSERT = insert(presets)
_INSERT_READING = insert(preset_readings)


def latest_preset(tx: Tx, assembly_id: int) -> PresetRow | None:
    """The last preset of an assembly, accepted or not."""
    row = tx.execute(_LATEST, {"of_assembly_id": assembly_id}).one_or_none()
    return None if row is None else named(PresetRow, row)


def preset_spreads(
    tx: Tx, gauge_id: int | None, up_to: datetime, most: int
) -> list[tuple[int, Mapping[str, float | None]]]:
    """Repeats of a gauge's latest presets and their deviations by measure, newest first."""
    given = {"of_gauge_id": gauge_id, "up_to": up_to, "most": most}
    return [(row[0], row[1]) for row in tx.execute(_SPREADS, given)]


def insert_preset(
    tx: Tx,
    fact_id: int,
    *,
    assembly_id: int,
    gauge_id: int | None,
    accepted: bool,
    why_not: Sequence[str],
    means_tenths_um: Mapping[str, int],
    standard_deviation_mm: Mapping[str, float | None],
    expanded_uncertainty_mm: Mapping[str, float],
    void_after: datetime,
    readings: Sequence[Mapping[str, int | None]],
) -> None:
    """Write a preset and each of its readings.

    Args:
        tx: The transaction.
        fact_id: The fact that it is.
        assembly_id: What was measured.
        gauge_id: On what, if said.
        accepted: The verdict.
        why_not: Sentences where it was not accepted.
        means_tenths_um: Means by LF, WF, HF, RE [0.1 µm].
        standard_deviation_mm: By the same names [mm], None for a single reading.
        expanded_uncertainty_mm: By the same names [mm].
        void_after: Until when it holds.
        readings: The repeats by the same names [0.1 µm].
    """
    tx.execute(
        _INSERT,
        {
            "fact_id": fact_id,
            "assembly_id": assembly_id,
            "gauge_id": gauge_id,
            "accepted": accepted,
            "why_not": list(why_not),
            **_columns(means_tenths_um),
            "standard_deviation_mm": dict(standard_deviation_mm),
            "expanded_uncertainty_mm": dict(expanded_uncertainty_mm),
            "void_after": void_after,
        },
    )
    tx.execute(
        _INSERT_READING,
        [
            {"preset_id": fact_id, "position": position, **_columns(reading)}
            for position, reading in enumerate(readings)
        ],
    )


def insert_override(
    tx: Tx, preset_id: int, *, person_id: int, reason: str, problems: Sequence[str]
) -> None:
    """Write that a supervisor let a preset count although its gauge did not."""
    tx.execute(
        insert(preset_overrides),
        {
            "preset_id": preset_id,
            "person_id": person_id,
            "reason": reason,
            "problems": list(problems),
        },
    )


def _columns(lengths: Mapping[str, int | None]) -> dict[str, int | None]:
    return {f"{name.lower()}_tenths_um": lengths.get(name) for name in ("LF", "WF", "HF", "RE")}


@dataclass(frozen=True, slots=True)
class GaugeRow:
    """A gauge with the lengths of its setting master [0.1 µm]."""

    id: int
    code: str
    gauge: str
    uncertainty_tenths_um: int | None
    resolution_tenths_um: int | None
    master_lf_tenths_um: int | None
    master_wf_tenths_um: int | None
    master_hf_tenths_um: int | None
    check_tolerance_tenths_um: int | None
    check_hours: float
    line_pattern: str | None
    retired: bool


_GAUGE: Select[Any] = select(
    _gauges.c.id,
    _gauges.c.code,
    _gauges.c.gauge,
    _gauges.c.uncertainty_tenths_um,
    _gauges.c.resolution_tenths_um,
    _gauges.c.master_lf_tenths_um,
    _gauges.c.master_wf_tenths_um,
    _gauges.c.master_hf_tenths_um,
    _gauges.c.check_tolerance_tenths_um,
    func.coalesce(_gauges.c.check_hours, 24.0).label("check_hours"),
    _gauges.c.line_pattern,
    _gauges.c.retired_at.is_not(None).label("retired"),
).where(_gauges.c.id == bindparam("id"))
_LAST_CHECK: Select[Any] = (
    select(facts.c.at, gauge_checks.c.valid)
    .join(facts, facts.c.id == gauge_checks.c.fact_id)
    .where(
        gauge_checks.c.gauge_id == bindparam("of_gauge_id"),
        facts.c.at <= bindparam("up_to"),
        stands(facts.c.id),
    )
    .order_by(facts.c.at.desc(), facts.c.id.desc())
    .limit(1)
)
_CHECKS: Select[Any] = (
    select(facts.c.id, facts.c.at, gauge_checks.c.valid, gauge_checks.c.result)
    .join(facts, facts.c.id == gauge_checks.c.fact_id)
    .where(
        gauge_checks.c.gauge_id == bindparam("of_gauge_id"),
        facts.c.at <= bindparam("up_to"),
        stands(facts.c.id),
    )
    .order_by(facts.c.at, facts.c.id)
)
_INSERT_CHECK = insert(gauge_checks)


@dataclass(frozen=True, slots=True)
class CheckRow:
    """When a gauge was last checked on its master, and whether it passed."""

    at: datetime
    valid: bool


def gauge_row(tx: Tx, gauge_id: int) -> GaugeRow:
    """The gauge of an id."""
    return named(GaugeRow, tx.execute(_GAUGE, {"id": gauge_id}).one())


def gauge_as_stored(tx: Tx, gauge_id: int) -> GaugeRow:
    """The same, without what its columns hold wrongly: for who says that it cannot be used."""
    (found,) = named_rows(GaugeRow, tx.execute(_GAUGE, {"id": gauge_id}))
    return without_other_types(found)


_ANY_GAUGE = select(exists(select(1).where(_gauges.c.retired_at.is_(None))))


def has_gauges(tx: Tx) -> bool:
    """Whether any gauge is on record that was not retired."""
    return bool(tx.execute(_ANY_GAUGE).scalar_one())


def last_check(tx: Tx, gauge_id: int, up_to: datetime) -> CheckRow | None:
    """The last check of a gauge up to an instant."""
    row = tx.execute(_LAST_CHECK, {"of_gauge_id": gauge_id, "up_to": up_to}).one_or_none()
    return None if row is None else named(CheckRow, row)


@dataclass(frozen=True, slots=True)
class CheckResultRow:
    """One check of a gauge with what it came to, by measure in small letters."""

    id: int
    at: datetime
    valid: bool
    result: Mapping[str, Mapping[str, Any]]


def checks_of(tx: Tx, gauge_id: int, up_to: datetime) -> tuple[CheckResultRow, ...]:
    """Every standing check of a gauge up to an instant, in order."""
    rows = tx.execute(_CHECKS, {"of_gauge_id": gauge_id, "up_to": up_to}).all()
    return tuple(named(CheckResultRow, row) for row in rows)


def good_checks(tx: Tx, gauge_id: int, up_to: datetime) -> tuple[datetime, ...]:
    """When a gauge was checked and found good, in order, up to an instant."""
    return tuple(one.at for one in checks_of(tx, gauge_id, up_to) if one.valid)


def insert_gauge_check(
    tx: Tx,
    fact_id: int,
    *,
    gauge_id: int,
    readings: Sequence[Mapping[str, int | None]],
    result: Mapping[str, object],
    valid: bool,
) -> None:
    """Write a check of a gauge on its master."""
    tx.execute(
        _INSERT_CHECK,
        {
            "fact_id": fact_id,
            "gauge_id": gauge_id,
            "readings": [dict(reading) for reading in readings],
            "result": dict(result),
            "valid": valid,
        },
    )
