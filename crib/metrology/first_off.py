"""What first-offs show of a station's datum, and the filter that follows it axis by axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crib.arrays import Bools, Floats
from crib.errors import OutsideModel
from crib.metrology.datum import DatumTrack, follow_datum
from crib.metrology.datum_filter import NONE, STEP, TAKEN, VERDICTS
from crib.metrology.datum_noise import FIRST_OFF_UNCERTAINTY_MM, DatumPrior
from crib.sentence import sentence
from crib.units import TENTHS_UM_PER_MM, TenthsUm

#: Stays that the filter looks back over; those before speak through the first of them.
MOST_STAYS = 60


@dataclass(frozen=True, slots=True)
class AxisStay:
    """One stay of a tool in a station, as far as one axis is concerned.

    Attributes:
        offset_tenths_um: What was keyed in at the mount, in the control's figures [0.1 µm].
        step_tenths_um: Sum of the first-off steps in the same figures; None without one.
        reach_tenths_um: Measure that moves the axis, with its sign; 0 where none does.
        preset_sd_mm: Standard uncertainty of that measure [mm].
    """

    offset_tenths_um: TenthsUm
    step_tenths_um: TenthsUm | None
    reach_tenths_um: TenthsUm
    preset_sd_mm: float


@dataclass(frozen=True, slots=True)
class FollowedAxis:
    """What the first-offs of a station show of one axis; lengths as radius [mm].

    Attributes:
        first: Index of the first stay that counts; the datum on record was changed before
            it, or it lies too far back.
        track: One row per stay that counts, shape (1, stays); none without a first-off.
        recorded_mm: Datum on record.
    """

    first: int
    track: DatumTrack
    recorded_mm: float

    @property
    def looks(self) -> int:
        """First-offs that count."""
        return int((self.track.verdict != NONE).sum())

    @property
    def placed(self) -> int:
        """First-offs that the estimate stands on: taken, or confirmed as a step."""
        return int(np.isin(self.track.verdict, (TAKEN, STEP)).sum())

    @property
    def datum_mm(self) -> float:
        """Where the datum is believed to be."""
        return float(self.track.mean[0])

    @property
    def shift_tenths_um(self) -> float:
        """Datum less the one on record, to 0.0001 µm; exactly 0 where nothing moved it."""
        return round((self.datum_mm - self.recorded_mm) * TENTHS_UM_PER_MM, 3) + 0.0

    @property
    def doubtful(self) -> bool:
        """Whether a jump waits for a second first-off."""
        return bool(np.isfinite(self.track.held[0]))

    @property
    def verdict(self) -> str:
        """What became of the newest stay's first-off."""
        verdicts = self.track.verdict[0]
        return VERDICTS[verdicts[-1]] if verdicts.size else VERDICTS[NONE]


@dataclass(frozen=True, slots=True)
class AxisLooks:
    """The datum as each first-off shows it; lengths as radius [mm].

    Attributes:
        first: Index of the first stay that counts.
        start_mm: Datum that this stay went by.
        looks_mm: Datum as shown, NaN without a first-off, shape (stays,).
        sd_mm: Standard uncertainty of each, mounting apart.
    """

    first: int
    start_mm: float
    looks_mm: Floats
    sd_mm: Floats


def look_at_axis(
    stays: Sequence[AxisStay],
    recorded_tenths_um: int,
    *,
    on_diameter: bool,
    increment_tenths_um: int,
) -> AxisLooks:
    """What the first-offs of a station show of one axis.

    A first-off shows the datum as ``(keyed in + steps) / factor - reach``: what the control
    held once the first part was right. The factor is 2 where X counts on diameter.

    Where the datum on record is not the one that the first stay went by, somebody changed
    the record: only the stays since the first that went by it count, none if there is none.

    Args:
        stays: In the order of the mounts.
        recorded_tenths_um: Datum on record, X as radius [0.1 µm].
        on_diameter: Whether the figures of this axis are doubled.
        increment_tenths_um: Least step of the control [0.1 µm].

    Raises:
        OutsideModel: An increment below one.
    """
    if increment_tenths_um < 1:
        raise OutsideModel(sentence("The least step of an offset is at least 0.0001 mm."))
    factor = 2 if on_diameter else 1
    keyed, step, reach, preset_sd = (
        np.array([_number(getattr(stay, name)) for stay in stays])
        for name in ("offset_tenths_um", "step_tenths_um", "reach_tenths_um", "preset_sd_mm")
    )
    went_by = keyed / factor - reach
    # inches land on the next 0.1 µm too, hence one more
    near = np.abs(went_by - recorded_tenths_um) <= (increment_tenths_um + 1) / factor
    first = _first_that_counts(near)
    start = float(recorded_tenths_um)
    if first < len(stays) and not near[first]:
        start = float(went_by[first])
    rounding = increment_tenths_um / factor / np.sqrt(12) / TENTHS_UM_PER_MM
    return AxisLooks(
        first,
        start / TENTHS_UM_PER_MM,
        ((keyed + step) / factor - reach) / TENTHS_UM_PER_MM,
        np.sqrt(np.square(preset_sd) + FIRST_OFF_UNCERTAINTY_MM**2 + rounding**2),
    )


def follow_axis(
    stays: Sequence[AxisStay],
    recorded_tenths_um: int,
    *,
    on_diameter: bool,
    increment_tenths_um: int,
    prior: DatumPrior | None = None,
    each_look: bool = False,
) -> FollowedAxis:
    """Follow the datum of one axis through the stays in its station; see ``look_at_axis``.

    Args:
        stays: In the order of the mounts.
        recorded_tenths_um: Datum on record, X as radius [0.1 µm].
        on_diameter: Whether the figures of this axis are doubled.
        increment_tenths_um: Least step of the control [0.1 µm].
        prior: What is believed of any station [mm].
        each_look: Whether to state how well the datum was known after each look too.

    Raises:
        OutsideModel: An increment below one, or an uncertainty that is none.
    """
    seen = look_at_axis(
        stays,
        recorded_tenths_um,
        on_diameter=on_diameter,
        increment_tenths_um=increment_tenths_um,
    )
    # without any first-off there is nothing to follow: most axes of most stations
    last = len(stays) if np.isfinite(seen.looks_mm[seen.first :]).any() else seen.first
    track = follow_datum(
        seen.looks_mm[None, seen.first : last],
        seen.sd_mm[None, seen.first : last],
        np.array([seen.start_mm]),
        prior,
        each_look=each_look,
    )
    return FollowedAxis(seen.first, track, recorded_tenths_um / TENTHS_UM_PER_MM)


def _number(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def _first_that_counts(near: Bools) -> int:
    """Index of the first stay to look at, from which stays went by the record's datum."""
    if near.size == 0:
        return 0
    began = 0 if near[0] else int(np.argmax(near)) if near.any() else near.size
    return max(began, near.size - MOST_STAYS)
