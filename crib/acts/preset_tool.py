"""Presetting a tool: repeats on the gauge become a verdict, and old labels lose theirs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.acts.gauge_trust import (
    GaugeOverridden,
    Override,
    gauge_overridden,
    gauge_problems,
)
from crib.acts.judge_preset import judge_preset
from crib.acts.measures_needed import measures_needed
from crib.acts.named import named_assembly
from crib.acts.who_and_when import place_after, record, refuse_before, who_and_when
from crib.clock import CLOCK_TOLERANCE, print_instant
from crib.errors import Conflict
from crib.metrology.preset import (
    MEASURES,
    MeasureResult,
    Reading,
)
from crib.sentence import sentence
from crib.stock.assembly import status_after_preset
from crib.store.assemblies import (
    AssemblyRow,
    current_label,
    label_shows,
    last_fact_at,
    set_state,
    supersede_label,
)
from crib.store.code_numbers import next_code
from crib.store.engine import Tx
from crib.store.presets import gauge_row, insert_override, insert_preset, last_check
from crib.store.resolve import resolve_gauge
from crib.store.stockrows import holder_row, spec_row

#: How long a preset holds; common practice, no source.
PRESET_HOLDS = timedelta(days=90)


@dataclass(frozen=True, slots=True)
class PresetTool:
    """Measure a tool off the machine.

    Attributes:
        assembly: Code of its label, or its holder.
        readings: The repeats, exact lengths.
        gauge: Code or mark of the gauge; None where nobody said.
        override: A supervisor lets the preset count although its gauge does not; what was
            measured is judged all the same.
    """

    assembly: str
    readings: Sequence[Reading]
    gauge: str | None = None
    override: Override | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class PresetDone:
    """What a preset came to.

    Attributes:
        fact_id: The fact.
        code: The assembly's code from now on; print it where it changed.
        superseded_code: The code of the label that is void now, if any.
        cutter_status: AVAILABLE when accepted, else MEASURED.
        accepted: The verdict.
        why_not: Sentences where it was not accepted.
        cautions: Where it cannot go for want of a measure, if it can go elsewhere.
        measures: Mean, standard deviation and uncertainty per measure.
        at: When it was measured.
        void_after: Until when it holds.
        gauge: Mark of the gauge.
        overridden: What a supervisor overrode; None where nothing had to be.
    """

    fact_id: int
    code: str
    superseded_code: str | None
    cutter_status: str
    accepted: bool
    why_not: tuple[str, ...]
    cautions: tuple[str, ...]
    measures: tuple[MeasureResult, ...]
    at: datetime
    void_after: datetime
    gauge: str | None
    overridden: GaugeOverridden | None


def preset_tool(tx: Tx, present: datetime, command: PresetTool) -> PresetDone:
    """Record a preset; only the newest one of a tool counts, accepted or not.

    The first accepted preset goes onto the label that the tool has. Each later one gives the
    tool a new code, so that the earlier label scans as what it is.

    Raises:
        Conflict: The tool sits in a machine, is over, or has a later fact.
        Invalid: Readings that are not plausible.
        NotKnown: A code that nothing carries.
        NotAllowed: The person who overrides the check is not a supervisor.
    """
    told = who_and_when(tx, present, command)
    assembly = named_assembly(tx, command.assembly).row
    _refuse_unmeasurable(assembly)
    told = refuse_before(
        told,
        last_fact_at(tx, assembly.id),
        sentence("the last fact about {code} lies", code=assembly.code),
    )
    spec = spec_row(tx, assembly.tool_spec_id)
    gauge = None
    if command.gauge:
        gauge = gauge_row(tx, resolve_gauge(tx, command.gauge).id)
        check = last_check(tx, gauge.id, present + CLOCK_TOLERANCE)
        told = place_after(told, check.at if check else None)
    verdict = judge_preset(tx, spec, gauge, command.readings, told.at)
    problems = gauge_problems(tx, gauge, told.at)
    overridden = gauge_overridden(tx, command.override, problems)
    needed = measures_needed(tx, spec.id, holder_row(tx, assembly.holder_id))
    measured = verdict.means_tenths_um()
    why_not = (
        *(() if overridden else problems),
        *verdict.why_not,
        *needed.why_not(measured),
    )
    fact_id = record(tx, "preset", told)
    void_after = told.at + PRESET_HOLDS
    insert_preset(
        tx,
        fact_id,
        assembly_id=assembly.id,
        gauge_id=gauge.id if gauge else None,
        accepted=not why_not,
        why_not=why_not,
        means_tenths_um=verdict.means_tenths_um(),
        standard_deviation_mm={
            one.measure.lower(): one.standard_deviation_mm for one in verdict.measures
        },
        expanded_uncertainty_mm={
            one.measure.lower(): one.expanded_uncertainty_mm for one in verdict.measures
        },
        void_after=void_after,
        readings=[{name: one.value(name) for name in MEASURES} for one in command.readings],
    )
    if overridden is not None:
        insert_override(
            tx,
            fact_id,
            person_id=overridden.person_id,
            reason=overridden.reason,
            problems=overridden.problems,
        )
    status = status_after_preset(accepted=not why_not)
    set_state(tx, assembly.id, status=status, preset_id=None if why_not else fact_id)
    code, superseded = _relabel(tx, assembly.id, told.at, None if why_not else fact_id)
    return PresetDone(
        fact_id=fact_id,
        code=code,
        superseded_code=superseded,
        cutter_status=status,
        accepted=not why_not,
        why_not=why_not,
        cautions=needed.cautions(measured),
        measures=verdict.measures,
        at=told.at,
        void_after=void_after,
        gauge=gauge.gauge if gauge else None,
        overridden=overridden,
    )


def _refuse_unmeasurable(assembly: AssemblyRow) -> None:
    if assembly.station is not None:
        raise Conflict(
            sentence(
                "{code} sits in station {station}: record its removal first.",
                code=assembly.code,
                station=assembly.station,
            ),
            facts={"assembly": assembly.code, "station": assembly.station},
        )
    if assembly.ended_at is not None:
        raise Conflict(
            sentence(
                "{code} has ended ({cutter_status} since {ended_at}): build a tool "
                "with a new edge.",
                code=assembly.code,
                cutter_status=assembly.cutter_status,
                ended_at=print_instant(assembly.ended_at),
            ),
            facts={"assembly": assembly.code, "cutter_status": assembly.cutter_status},
        )


def _relabel(
    tx: Tx, assembly_id: int, at: datetime, preset_id: int | None
) -> tuple[str, str | None]:
    """The tool's code from now on, and the one that was voided."""
    label = current_label(tx, assembly_id)
    if label.preset_id is None:
        label_shows(tx, label.code, preset_id)
        return label.code, None
    code = next_code(tx, "A")
    supersede_label(tx, label, at, code)
    label_shows(tx, code, preset_id)
    return code, label.code
