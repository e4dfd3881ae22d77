"""First-offs of the demo: steps follow from where a station really holds tools.

The service does not see the truth: it learns it from the steps, so the steps shrink.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime

from crib.acts.correct_offset import CorrectOffset, OffsetCorrected, correct_offset
from crib.acts.station_offsets import offsets_now
from crib.errors import NotMounted
from crib.metrology.offset import keyed_tenths_um
from crib.store.engine import Tx
from crib.store.first_offs import stays_with_first_offs
from crib.store.mounts import corrections_of, mount_covering
from crib.store.resolve import resolve_station
from crib.store.stations import station_row

#: How far data on record lie from the truth, how far they move from mount to mount, how far
#: holders locate from where they should (standard deviations as radius) [µm].
_RECORD_UM = 14.0
_WALK_UM = 0.8
SCATTER_UM = 2.5

#: Chance that a station is knocked between two mounts, and by how much [µm].
_KNOCK_PROB = 0.004
_KNOCK_UM = (40.0, 90.0)


class StationTruth:
    """Where stations really hold their tools, less the datum on record.

    Args:
        seed: Same seed, same stations.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._draws: dict[str, random.Random] = {}
        self._off_um: dict[str, float] = {}

    def off_um(self, station: str) -> float:
        """At the next mount there, as radius [µm]; each call is one mount."""
        draw = self._draws.get(station)
        if draw is None:
            draw = self._draws[station] = random.Random(f"{self._seed}/datum/{station}")
            self._off_um[station] = draw.gauss(0.0, _RECORD_UM)
        self._off_um[station] += draw.gauss(0.0, _WALK_UM)
        if draw.random() < _KNOCK_PROB:
            self._off_um[station] += draw.choice((-1, 1)) * draw.uniform(*_KNOCK_UM)
        return self._off_um[station]


@dataclass(frozen=True, slots=True)
class FirstOff:
    """The first part was measured on X, and the offset set right; ``off_um`` as radius."""

    station: str
    off_um: float
    by: str


def first_off(tx: Tx, present: datetime, command: FirstOff) -> OffsetCorrected:
    """Step X from what the control holds to where the tool really is.

    Raises:
        NotMounted: Nothing sits there.
    """
    station = station_row(tx, resolve_station(tx, command.station).id)
    mount = mount_covering(tx, station.id, present)
    if mount is None:
        raise NotMounted(f"Nothing was in station {station.mark}.")
    held = offsets_now(station, mount, corrections_of(tx, mount.id))
    x_tenths_um = next(one.value_tenths_um for one in held if one.axis == "X")
    (stay,) = (one for one in stays_with_first_offs(tx, station.id, present)
               if one.mount_id == mount.id)  # fmt: skip
    reach_tenths_um = 0
    if station.axis_x is not None:
        sign = -1 if station.axis_x[0] == "-" else 1
        reach_tenths_um = sign * (stay.measure_tenths_um(station.axis_x[1:]) or 0)
    radius = station.datum_x_tenths_um + reach_tenths_um + round(command.off_um * 10)
    step = keyed_tenths_um(
        radius * (2 if station.x_on_diameter else 1) - x_tenths_um,
        station.offset_unit,
        station.offset_increment_tenths_um,
    )
    correction = CorrectOffset(command.station, "X", step, "first_off", by=command.by)
    return correct_offset(tx, present, correction)
