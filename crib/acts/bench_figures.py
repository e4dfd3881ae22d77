"""In which unit sentences of the bench speak: that of the gauge, or of the machines served."""

from __future__ import annotations

from crib.metrology.figures import Figures
from crib.metrology.gauge_line import compile_pattern
from crib.store.engine import Tx
from crib.store.presets import GaugeRow
from crib.store.spec_stations import offset_units


def figures_of_bench(tx: Tx, gauge: GaugeRow | None, spec_id: int | None = None) -> Figures:
    """How lengths are written of what was measured on a gauge.

    A gauge whose line is described shows the unit of that line. Of another one it is inches
    where every control takes inches that the tool (without one, the shop) is for.
    """
    if gauge is not None and gauge.line_pattern:
        return Figures("in" if compile_pattern(gauge.line_pattern).in_inches else "mm")
    return Figures("in" if offset_units(tx, spec_id) == {"in"} else "mm")
