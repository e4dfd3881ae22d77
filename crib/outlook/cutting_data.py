"""Cutting data of the shop in memory: wear and minutes per part for a station and a run."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy

from crib.cutting.operations import CutOperation, SpeedLimits
from crib.planning.part_wear import Curve, PartWear, part_wear, starter_curve
from crib.store.wear_rows import CuttingRows


class CuttingData:
    """Operations, constants and limits of the shop; wear per part computed when asked.

    What was computed once is remembered as long as somebody keeps the data.

    Args:
        rows: The rows, as ``read_cutting_rows`` reads them.

    Attributes:
        faults: Rows that could not be read, see ``CuttingRows``.
        contradicted: Operations that contradict themselves, see ``CuttingRows``.
    """

    def __init__(self, rows: CuttingRows) -> None:
        self.faults = rows.faults
        self.contradicted = rows.contradicted
        self._rows = rows
        self._curves = {of: Curve(*told) for of, told in rows.curves.items()}
        self._adopted: dict[tuple[int, str], Curve] = {}
        # Stations alike in all that wear depends on share a place, and what is known of it.
        places: dict[tuple[int, int, float | None, float | None], int] = {}
        self._place_of: dict[int, int] = {
            row.id: places.setdefault(
                (row.tool_number, row.path or 1, row.spindle_max_rpm, row.max_rpm), len(places)
            )
            for row in rows.stations
        }
        self._places = list(places)
        self._known: dict[tuple[int, int, int, int], PartWear | None] = {}

    def adopting(self, curves: Mapping[tuple[int, str], Curve]) -> CuttingData:
        """The same data, but with the wear of these items and groups by other curves."""
        other = copy(self)
        other._adopted = self._adopted | dict(curves)
        other._known = {
            key: take
            for key, take in self._known.copy().items()  # other threads may ask meanwhile
            if (key[3], self._rows.groups[key[1]]) not in curves
        }
        return other

    def tools_of(self, part_id: int) -> list[tuple[int, int, int]]:
        """Tool number, path and id of the expected spec, for every tool of a part."""
        return sorted(
            (number, path, next(iter(specs)))
            for (part, number, path), specs in self._rows.specs_expected.items()
            if part == part_id
        )

    def specs_wanted(self, part_id: int, path: int, tool_number: int) -> tuple[int, ...]:
        """Ids of the specs that a part's program names for a tool number, in its order."""
        return tuple(self._rows.specs_expected.get((part_id, tool_number, path), ()))

    def material_group(self, part_id: int) -> str:
        """ISO 513 group of a part's material."""
        return self._rows.groups[part_id]

    def has_plain_guess(self, tool_spec_id: int) -> bool:
        """Whether the shop says about how many parts an edge of the spec makes."""
        spec = self._rows.specs.get(tool_spec_id)
        return spec is not None and spec.life_parts is not None

    def place(self, station_id: int) -> int:
        """Number that stations share in which any part takes the same from the same edge."""
        return self._place_of[station_id]

    def per_part(
        self, station_id: int, part_id: int, tool_spec_id: int, cutting_item_id: int
    ) -> PartWear | None:
        """What one part takes from an edge of an item, built to a spec, in a station.

        None where the part's program does not use the station, or nothing is known.
        """
        key = (self._place_of[station_id], part_id, tool_spec_id, cutting_item_id)
        if key not in self._known:
            self._known[key] = self._compute(*key)
        return self._known[key]

    def _own_curve(self, cutting_item_id: int, group: str) -> Curve | None:
        material = self._rows.materials[cutting_item_id]
        of_material = self._curves.get((material, group))
        return self._curves.get((cutting_item_id, group), of_material)

    def curve_in_force(self, cutting_item_id: int, group: str) -> Curve | None:
        """The shop's own constants of an item on a group, else the starter table's row.

        None where the item's tool material is not given either.
        """
        material = self._rows.materials[cutting_item_id]
        own = self._own_curve(cutting_item_id, group)
        return own or (starter_curve(material, group) if material else None)

    def curve(self, cutting_item_id: int, group: str) -> Curve | None:
        """The curve that an item on a group is to be asked by, adopted exponents included."""
        adopted = self._adopted.get((cutting_item_id, group))
        return adopted or self.curve_in_force(cutting_item_id, group)

    def cut(
        self, station_id: int, part_id: int, tool_spec_id: int
    ) -> tuple[tuple[CutOperation, ...], SpeedLimits]:
        """What a part's program has the tool of a station cut, and what holds the spindle."""
        return self._cut(self._place_of[station_id], part_id, tool_spec_id)

    def _cut(
        self, place: int, part_id: int, tool_spec_id: int
    ) -> tuple[tuple[CutOperation, ...], SpeedLimits]:
        tool_number, path, machine_rpm, station_rpm = self._places[place]
        spec = self._rows.specs[tool_spec_id]
        return tuple(self._rows.operations.get((part_id, tool_number, path), ())), {
            "machine": machine_rpm,
            "station": station_rpm,
            "holder": spec.holder_max_rpm,
            "tool": spec.max_rpm,
        }

    def _compute(
        self, place: int, part_id: int, tool_spec_id: int, cutting_item_id: int
    ) -> PartWear | None:
        spec = self._rows.specs[tool_spec_id]
        group = self._rows.groups[part_id]
        material = self._rows.materials[cutting_item_id]
        curve = self._own_curve(cutting_item_id, group)
        # a plain guess of the spec still comes before anything made of the starter table
        if curve or spec.life_parts is None:
            curve = self._adopted.get((cutting_item_id, group), curve)
        return part_wear(
            *self._cut(place, part_id, tool_spec_id),
            constants=curve,
            life_parts=spec.life_parts,
            tool_material=material,
            material_group=group,
        )
