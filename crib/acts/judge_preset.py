"""What readings say of a tool on its gauge, with all that is known of that gauge."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from crib.acts.bench_figures import figures_of_bench
from crib.metrology.budget import DEFAULT_GAUGE_UNCERTAINTY_MM, DEFAULT_RESOLUTION_MM
from crib.metrology.gauge_check import pooled_deviation
from crib.metrology.preset import MEASURES, PresetResult, Reading, measure
from crib.metrology.scatter import KnownScatter, known_scatter
from crib.records.measures import refuse_readings
from crib.store.engine import Tx
from crib.store.presets import GaugeRow, checks_of, preset_spreads
from crib.store.stockrows import SpecRow
from crib.units import TENTHS_UM_PER_MM

#: Latest presets of a gauge from which its repeatability is estimated.
_LATEST = 200


def judge_preset(
    tx: Tx, spec: SpecRow, gauge: GaugeRow | None, readings: Sequence[Reading], at: datetime
) -> PresetResult:
    """Judge readings of a tool of a spec as of an instant; nothing is written.

    Raises:
        Invalid: Readings that are not plausible.
    """
    refuse_readings(readings)
    return measure(
        readings,
        nominals_of(spec),
        spec.tolerance_tenths_um,
        gauge_uncertainty_mm(gauge),
        resolution_mm=resolution_mm(gauge),
        known=scatter_of_gauge(tx, gauge, at),
        figures=figures_of_bench(tx, gauge, spec.id),
    )


def nominals_of(spec: SpecRow) -> dict[str, int | None]:
    """What a tool of a spec should measure, by LF, WF, HF and RE [0.1 µm]."""
    return {
        "LF": spec.lf_nominal_tenths_um,
        "WF": spec.wf_nominal_tenths_um,
        "HF": spec.hf_nominal_tenths_um,
        "RE": spec.nose_radius_tenths_um,
    }


def gauge_uncertainty_mm(gauge: GaugeRow | None) -> float:
    """Standard uncertainty of gauge and master [mm]; the usual one where nobody said."""
    if gauge is None or gauge.uncertainty_tenths_um is None:
        return DEFAULT_GAUGE_UNCERTAINTY_MM
    return gauge.uncertainty_tenths_um / TENTHS_UM_PER_MM


def resolution_mm(gauge: GaugeRow | None) -> float:
    """Step of the gauge's display [mm]; the usual one where nobody said."""
    if gauge is None or gauge.resolution_tenths_um is None:
        return DEFAULT_RESOLUTION_MM
    return gauge.resolution_tenths_um / TENTHS_UM_PER_MM


def scatter_of_gauge(tx: Tx, gauge: GaugeRow | None, at: datetime) -> dict[str, KnownScatter]:
    """What one reading of each measure scatters by on a gauge, where its presets show it."""
    presets = preset_spreads(tx, None if gauge is None else gauge.id, at, _LATEST)
    checks = () if gauge is None else checks_of(tx, gauge.id, at)
    found: dict[str, KnownScatter] = {}
    for name in MEASURES:
        key = name.lower()
        studied = [one.result[key] for one in checks[-_LATEST:] if key in one.result]
        known = known_scatter(
            [(n, spreads.get(key)) for n, spreads in presets],
            pooled_deviation([(one["n"], one["standard_deviation_mm"]) for one in studied]),
        )
        if known is not None:
            found[name] = known
    return found
