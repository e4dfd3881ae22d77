"""A station's datum laid open: each first-off, what was expected, what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from crib.acts.name_cause import name_cause
from crib.acts.station_datum import AxisDatum, datum_by_axis, follow_station, stays_of_axis
from crib.acts.station_offsets import geometry_of
from crib.arrays import Floats
from crib.metrology.datum_filter import VERDICTS
from crib.metrology.first_off import FollowedAxis
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.first_offs import FirstOffRow
from crib.store.resolve import resolve_station
from crib.store.stations import station_row

#: What each verdict means.
_MEANINGS = {
    "none": sentence("no first-off on record"),
    "taken": sentence("it moved the estimate"),
    "held_apart": sentence("a jump; it waits for a second first-off that agrees"),
    "taken_as_step": sentence(
        "it agreed with the jump before it: the datum starts again there"
    ),
    "confirmed": sentence("a jump that the next first-off agreed with"),
    "not_confirmed": sentence(
        "a jump; the next first-off fitted the estimate again, so it was left out"
    ),
    "fits_nowhere": sentence("a jump; the next first-off fitted neither it nor the estimate"),
}


@dataclass(frozen=True, slots=True)
class LookShown:
    """One mount and what its first-off showed; lengths as radius.

    Attributes:
        mount: Number of the mount.
        at: When it was mounted.
        holder: What was mounted.
        gauge: What it was measured on, null where nobody said.
        step_tenths_um: Sum of its first-off steps in the control's figures.
        datum_seen_mm: Where the first-off puts the datum.
        expected_mm: Where it was expected.
        innovation_mm: The one less the other.
        sigmas: That over its standard deviation.
        estimate_mm: Where the datum was believed to be afterwards.
        expanded_uncertainty_mm: How well that was known, 95 %.
        verdict: What became of it.
        meaning: The same in words.
    """

    mount: int
    at: datetime
    holder: str
    gauge: str | None
    step_tenths_um: int | None
    datum_seen_mm: float | None
    expected_mm: float
    innovation_mm: float | None
    sigmas: float | None
    estimate_mm: float
    expanded_uncertainty_mm: float
    verdict: str
    meaning: str


@dataclass(frozen=True, slots=True)
class AxisShown:
    """One axis of a station.

    Attributes:
        datum: What is known of it by now.
        set_aside: Stays before the datum on record was last changed, or too far back.
        history: The stays that count, in order; empty without a first-off.
        cause: What may be behind the newest first-off, null where there is none.
    """

    datum: AxisDatum
    set_aside: int
    history: tuple[LookShown, ...]
    cause: str | None


@dataclass(frozen=True, slots=True)
class StationDatum:
    """The datum of a station, axis by axis.

    Attributes:
        station: MACHINE/STATION.
        station_code: Its code.
        as_of: Facts dated up to then were looked at.
        x_on_diameter: Whether the control's X figures are twice the ones here.
        axes: The axes that it sets, X first.
        source: Where the method comes from.
    """

    station: str
    station_code: str
    as_of: datetime
    x_on_diameter: bool
    axes: tuple[AxisShown, ...]
    source: str


def show_datum(tx: Tx, as_of: datetime, text: str) -> StationDatum:
    """Show what each first-off in a station showed of its datum, up to an instant.

    Raises:
        NotKnown: No such station.
        BadCode: A code that is mistyped.
    """
    station = station_row(tx, resolve_station(tx, text).id)
    followed = follow_station(tx, station, as_of, each_look=True)
    mappings = {axis: mapping for axis, mapping, _ in geometry_of(station).axes()}
    shown = []
    for told in datum_by_axis(station, followed):
        one = followed.axes[told.axis]
        stays = stays_of_axis(followed.stays, told.axis, mappings[told.axis])
        shown.append(
            AxisShown(
                told,
                one.first,
                _history(one, stays[one.first :], told.axis) if one.looks else (),
                name_cause(tx, station, told.axis, as_of) if one.looks else None,
            )
        )
    return StationDatum(
        station.mark,
        station.code,
        as_of,
        station.x_on_diameter,
        tuple(shown),
        sentence(
            "One-dimensional filter per axis: Kalman 1960; a jump beyond 4 standard "
            "deviations is held apart until a second first-off agrees."
        ),
    )


def _history(
    one: FollowedAxis, stays: Sequence[FirstOffRow], axis: str
) -> tuple[LookShown, ...]:
    track = one.track

    def number(values: Floats, look: int) -> float | None:
        value = float(values[0, look])
        return value if np.isfinite(value) else None

    rows = []
    for look, stay in enumerate(stays):
        innovation = number(track.innovation, look)
        expected = float(track.predicted[0, look])
        verdict = VERDICTS[track.verdict[0, look]]
        rows.append(
            LookShown(
                mount=stay.mount_id,
                at=stay.at,
                holder=stay.holder,
                gauge=stay.gauge,
                step_tenths_um=stay.step_tenths_um(axis),
                datum_seen_mm=None if innovation is None else expected + innovation,
                expected_mm=expected,
                innovation_mm=innovation,
                sigmas=number(track.sigmas, look),
                estimate_mm=float(track.estimate[0, look]),
                expanded_uncertainty_mm=float(track.estimate_reach[0, look]),
                verdict=verdict,
                meaning=_MEANINGS[verdict],
            )
        )
    return tuple(rows)
