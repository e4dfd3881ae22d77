"""The presets of a gauge against the offsets that the first parts asked for later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.acts.name_cause import residuals_of
from crib.metrology.later import Effect, Later, compare_later
from crib.sentence import figure, sentence, together
from crib.store.engine import Tx
from crib.store.first_offs import FirstOffRow


@dataclass(frozen=True, slots=True)
class FoundLater:
    """By how much first-offs found the presets of a gauge off.

    Attributes:
        first_offs: First-offs of tools that were measured on it.
        offset_mm: Right measure less measure taken, against other gauges; null: no station
            held tools of both, or too few.
        offset_se_mm: Its standard error.
        drift_mm_per_day: How that moves over time within the stations; null: too few.
        drift_se_mm_per_day: Its standard error.
        beyond_chance: Whether either differs from none by more than chance (95 %).
        sentence: The same in words.
    """

    first_offs: int
    offset_mm: float | None
    offset_se_mm: float | None
    drift_mm_per_day: float | None
    drift_se_mm_per_day: float | None
    beyond_chance: bool
    sentence: str


def found_later(
    tx: Tx, rows: Sequence[FirstOffRow], gauge_id: int, measure: str, up_to: datetime
) -> FoundLater | None:
    """Compare presets of a gauge with first-offs; None where there are none."""
    told = residuals_of(tx, rows, measure, up_to)
    names = list(dict.fromkeys(one.station for _, one in told))
    later = compare_later(
        [one.residual_mm for _, one in told],
        [names.index(one.station) for _, one in told],
        [row.gauge_id == gauge_id for row, _ in told],
        [(one.measured_at - up_to) / timedelta(days=1) for _, one in told],
    )
    if not later.first_offs:
        return None
    offset, drift = later.offset_mm, later.drift_mm_per_day
    return FoundLater(
        later.first_offs,
        offset.value if offset else None,
        offset.standard_error if offset else None,
        drift.value if drift else None,
        drift.standard_error if drift else None,
        any(one is not None and one.beyond_chance for one in (offset, drift)),
        later_sentence(measure, later),
    )


def later_sentence(measure: str, later: Later) -> str:
    """What first-offs say of a gauge, in words."""
    many = (
        sentence("{first_offs} first-offs", first_offs=later.first_offs)
        if later.first_offs > 1
        else sentence("{first_offs} first-off", first_offs=later.first_offs)
    )
    said = []
    if later.offset_mm is not None:
        said.append(
            sentence(
                "{plus_minus} off the presets made on this gauge, against other gauges "
                "in the same stations",
                plus_minus=_plus_minus(later.offset_mm, 1, "mm", 4),
            )
        )
    if later.drift_mm_per_day is not None:
        said.append(
            sentence(
                "moving by {plus_minus} within the stations",
                plus_minus=_plus_minus(later.drift_mm_per_day, 1000, sentence("µm a day"), 2),
            )
        )
    if not said:
        return sentence(
            "{many} on record for {measure}: too few to compare with the presets.",
            many=many,
            measure=measure,
        )
    beyond = [
        one
        for one in (later.offset_mm, later.drift_mm_per_day)
        if one is not None and one.beyond_chance
    ]
    verdict = (
        sentence("check the gauge on its master") if beyond else sentence("no more than chance")
    )
    return sentence(
        "{many} found {measure} {said} (95 %): {verdict}.",
        many=many,
        measure=measure,
        said=together(", ", said),
        verdict=verdict,
    )


def _plus_minus(effect: Effect, scale: float, unit: str, places: int) -> str:
    value, reach = effect.value * scale, effect.reach * scale
    return together(
        "",
        (figure(value, f"+.{places}f"), " ± ", figure(reach, f".{places}f"), " ", unit),
    )
