"""What readings would come to if they were recorded as a preset now; nothing is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from crib.acts.gauge_trust import gauge_problems
from crib.acts.judge_preset import judge_preset, nominals_of
from crib.acts.measures_needed import measures_of_tool
from crib.acts.named import named_assembly
from crib.metrology.preset import MeasureResult, Reading
from crib.store.engine import Tx
from crib.store.presets import gauge_row
from crib.store.resolve import resolve_gauge
from crib.store.stockrows import spec_row


@dataclass(frozen=True, slots=True)
class PresetPreview:
    """A preset as it would be.

    Attributes:
        measures: Mean, spread, uncertainty and verdict per measure.
        why_not: Why the readings are not accepted, in sentences.
        gauge_problems: Why the gauge may not be used.
        lacking: Measures that every station needs and the readings do not have; of ``why_not``.
        cautions: Where it could not go for want of a measure, if it can go elsewhere.
        nominals_tenths_um: What the tool should measure, by measure [0.1 µm].
        tolerance_tenths_um: Half the width of the tolerance, if it has one [0.1 µm].
    """

    measures: tuple[MeasureResult, ...]
    why_not: tuple[str, ...]
    gauge_problems: tuple[str, ...]
    lacking: tuple[str, ...]
    cautions: tuple[str, ...]
    nominals_tenths_um: Mapping[str, int | None]
    tolerance_tenths_um: int | None

    @property
    def accepted(self) -> bool:
        """Whether it would be accepted."""
        return not self.why_not and not self.gauge_problems


def preview_preset(
    tx: Tx,
    present: datetime,
    assembly: str,
    readings: Sequence[Reading],
    gauge: str | None = None,
) -> PresetPreview:
    """Judge readings as ``preset_tool`` would.

    Raises:
        Invalid: Readings that are not plausible.
        NotKnown: A code that nothing carries.
    """
    spec = spec_row(tx, named_assembly(tx, assembly).row.tool_spec_id)
    row = gauge_row(tx, resolve_gauge(tx, gauge).id) if gauge else None
    result = judge_preset(tx, spec, row, readings, present)
    needed, measured = measures_of_tool(tx, assembly), result.means_tenths_um()
    lacking = needed.why_not(measured)
    return PresetPreview(
        result.measures,
        (*result.why_not, *lacking),
        gauge_problems(tx, row, present),
        lacking,
        needed.cautions(measured),
        nominals_of(spec),
        spec.tolerance_tenths_um,
    )
