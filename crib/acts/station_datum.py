"""What the first-offs in a station show of its datum, axis by axis, up to an instant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from crib.acts.station_offsets import figures_of, geometry_of
from crib.metrology.first_off import AxisStay, FollowedAxis, follow_axis
from crib.metrology.offset import LearnedDatum
from crib.metrology.uncertainty import COVERAGE
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.first_offs import FirstOffRow, stays_with_first_offs
from crib.store.stations import StationRow
from crib.units import TENTHS_UM_PER_MM, TenthsUm


@dataclass(frozen=True, slots=True)
class AxisDatum:
    """What is known of the datum of one axis of a station; X as radius, a number, no offset.

    Attributes:
        axis: X, Y or Z.
        recorded_tenths_um: The datum on record [0.1 µm].
        datum_mm: Where the first-offs put it.
        expanded_uncertainty_mm: How well that is known, 95 %.
        next_expanded_uncertainty_mm: How far the next tool there may lie from it, 95 %.
        first_offs: First-offs that count, since the datum on record last changed.
        walk_mm: How far it moves from mount to mount (standard deviation), as learned.
        scatter_mm: How far mounting scatters (standard deviation), as learned.
        doubtful: Whether a jump waits for a second first-off.
        held_mm: Where that jump puts it.
        sentence: The same in words.
    """

    axis: str
    recorded_tenths_um: int
    datum_mm: float
    expanded_uncertainty_mm: float
    next_expanded_uncertainty_mm: float
    first_offs: int
    walk_mm: float
    scatter_mm: float
    doubtful: bool
    held_mm: float | None
    sentence: str


@dataclass(frozen=True, slots=True)
class StationFollowed:
    """The stays in a station, and what they showed of each axis that it sets."""

    stays: tuple[FirstOffRow, ...]
    axes: Mapping[str, FollowedAxis]
    newest: Mapping[str, int | None]

    def speaks(self, mount_id: int, axis: str) -> bool:
        """Whether a mount is the newest that spoke of an axis."""
        return self.newest.get(axis) == mount_id

    def learned(self) -> dict[str, LearnedDatum]:
        """What goes into the offset to key in; nothing for an axis without a first-off."""
        return {
            axis: LearnedDatum(followed.shift_tenths_um, float(followed.track.next_reach[0]))
            for axis, followed in self.axes.items()
            if followed.looks
        }


def follow_station(
    tx: Tx, station: StationRow, up_to: datetime, *, each_look: bool = False
) -> StationFollowed:
    """Follow each axis of a station through its stays; reversed facts are left out."""
    stays = stays_with_first_offs(tx, station.id, up_to)
    axes, newest = {}, {}
    for axis, mapping, datum in geometry_of(station).axes():
        if mapping is None and datum == 0:
            continue
        # a stay without an offset of this axis, or without its measure, does not speak of it
        speaking = [(stay, axis_stay(stay, axis, mapping)) for stay in stays]
        axes[axis] = follow_axis(
            [one for _, one in speaking if one is not None],
            datum,
            on_diameter=axis == "X" and station.x_on_diameter,
            increment_tenths_um=station.offset_increment_tenths_um,
            each_look=each_look,
        )
        newest[axis] = next(
            (stay.mount_id for stay, one in reversed(speaking) if one is not None), None
        )
    return StationFollowed(stays, axes, newest)


def stays_of_axis(
    stays: Sequence[FirstOffRow], axis: str, mapping: str | None
) -> list[FirstOffRow]:
    """The stays that speak of an axis, in the order in which its filter took them."""
    return [stay for stay in stays if axis_stay(stay, axis, mapping) is not None]


def axis_stay(stay: FirstOffRow, axis: str, mapping: str | None) -> AxisStay | None:
    """A stay as far as an axis is concerned; None where it does not speak of it."""
    offset, step = stay.offset_tenths_um(axis), stay.step_tenths_um(axis)
    reach: int | None = 0
    preset_sd_mm = 0.0
    if mapping is not None:
        reach = stay.measure_tenths_um(mapping[1:])
        uncertainties = stay.expanded_uncertainty_mm
        preset_sd_mm = uncertainties.get(mapping[1:].lower(), 0.0) / COVERAGE
    if offset is None or reach is None:
        return None
    return AxisStay(
        TenthsUm(offset),
        None if step is None else TenthsUm(step),
        TenthsUm(-reach if mapping and mapping[0] == "-" else reach),
        preset_sd_mm,
    )


def datum_by_axis(station: StationRow, followed: StationFollowed) -> tuple[AxisDatum, ...]:
    """What is known of each axis, X first."""
    told = []
    for axis, one in followed.axes.items():
        track = one.track
        told.append(
            AxisDatum(
                axis=axis,
                recorded_tenths_um=round(one.recorded_mm * TENTHS_UM_PER_MM),
                datum_mm=one.datum_mm,
                expanded_uncertainty_mm=float(track.reach[0]),
                next_expanded_uncertainty_mm=float(track.next_reach[0]),
                first_offs=one.looks,
                walk_mm=float(track.walk_sd[0]),
                scatter_mm=float(track.scatter_sd[0]),
                doubtful=one.doubtful,
                held_mm=float(track.held[0]) if one.doubtful else None,
                sentence=_sentence(station, axis, one),
            )
        )
    return tuple(told)


def doubts(followed: StationFollowed, station: StationRow) -> tuple[str, ...]:
    """Call-outs for who mounts: each axis whose datum is doubtful."""
    return tuple(
        _sentence(station, axis, one) for axis, one in followed.axes.items() if one.doubtful
    )


def _sentence(station: StationRow, axis: str, one: FollowedAxis) -> str:
    name, figures = (
        sentence("{axis} of station {mark}", axis=axis, mark=station.mark),
        figures_of(station),
    )
    if one.doubtful:
        apart = float(one.track.held[0]) - one.datum_mm
        off = _as_radius(figures.of_mm(apart, sign=True), station, axis)
        return sentence(
            "{name}: the last first-off puts the datum {off} from where it was. "
            "Station moved? It is held apart until a second first-off agrees; prove "
            "{axis} with care and measure the first part.",
            name=name,
            off=off,
            axis=axis,
        )
    if not one.looks:
        return sentence("{name}: no first-off yet, the datum on record counts.", name=name)
    shift = _as_radius(figures.exact(one.shift_tenths_um, sign=True), station, axis)
    return (
        sentence(
            "{name}: the datum lies {shift} from the one on record, ± {up} (95 %), by "
            "{looks} first-offs.",
            name=name,
            shift=shift,
            up=figures.up(float(one.track.reach[0])),
            looks=one.looks,
        )
        if one.looks > 1
        else sentence(
            "{name}: the datum lies {shift} from the one on record, ± {up} (95 %), by "
            "{looks} first-off.",
            name=name,
            shift=shift,
            up=figures.up(float(one.track.reach[0])),
            looks=one.looks,
        )
    )


def _as_radius(figure: str, station: StationRow, axis: str) -> str:
    return (
        sentence("{figure} (radius)", figure=figure)
        if axis == "X" and station.x_on_diameter
        else figure
    )
