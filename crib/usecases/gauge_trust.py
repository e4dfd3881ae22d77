"""Whether a gauge may be believed at an instant, and how far."""

from __future__ import annotations

from datetime import datetime, timedelta

from crib.clock import print_instant
from crib.metrology.gauge_check import BIAS_SHARE, DEFAULT_TOLERANCE_WIDTH_TENTHS_UM
from crib.metrology.preset import DEFAULT_GAUGE_UNCERTAINTY_MM
from crib.store.engine import Tx
from crib.store.presets import GaugeRow, last_check


def gauge_uncertainty_mm(gauge: GaugeRow | None) -> float:
    """Standard uncertainty of gauge and master [mm]; the usual one where nobody said."""
    if gauge is None or gauge.uncertainty_tenths_um is None:
        return DEFAULT_GAUGE_UNCERTAINTY_MM
    return gauge.uncertainty_tenths_um / 10_000


def gauge_problems(tx: Tx, gauge: GaugeRow | None, at: datetime) -> tuple[str, ...]:
    """Why a gauge may not be believed at an instant, in sentences."""
    if gauge is None:
        return ()
    again = "Check the gauge on the setting master first, then measure again."
    check = last_check(tx, gauge.id, at)
    if check is None:
        return (f"Gauge {gauge.gauge} was never checked. {again}",)
    if not check.valid:
        return (f"Gauge {gauge.gauge} failed its check at {print_instant(check.at)}. {again}",)
    if at > check.at + timedelta(hours=gauge.check_hours):
        return (
            f"Gauge {gauge.gauge} was last checked at {print_instant(check.at)}, which counts "
            f"for {gauge.check_hours:g} hours. {again}",
        )
    return ()


def width_tenths_um(gauge: GaugeRow) -> int:
    """Width of the tolerance that the gauge serves, from how far it may be off [0.1 µm]."""
    if gauge.check_tolerance_tenths_um is None:
        return DEFAULT_TOLERANCE_WIDTH_TENTHS_UM
    return round(gauge.check_tolerance_tenths_um / BIAS_SHARE)
