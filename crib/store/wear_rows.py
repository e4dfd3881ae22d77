"""Cutting data of the shop in memory: wear and minutes per part for a station and a run."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from copy import copy
from typing import Any

from sqlalchemy import select

from crib.cutting.operations import CutOperation
from crib.planning.part_wear import Curve, PartWear, part_wear, starter_curve
from crib.store.cutting_rows import (
    constants_from_row,
    contradiction_of,
    operation_from_row,
)
from crib.store.engine import Tx
from crib.store.tables import metadata

_T = metadata.tables


class CuttingData:
    """Operations, constants and limits, read once; wear per part computed when asked.

    What was computed once is remembered as long as somebody keeps the data.

    Args:
        tx: An open transaction; everything is read at once, later changes are not seen.

    Attributes:
        faults: Rows that could not be read: ``operations`` with the part's id, ``tool_life``
            with the row's.
        contradicted: Sequence of the first operation that contradicts itself, and how, by
            part, tool number and path.
    """

    def __init__(self, tx: Tx) -> None:
        self.faults: dict[tuple[str, int], Exception] = {}
        self.contradicted: dict[tuple[int, int, int], tuple[int, str]] = {}
        self._operations: dict[tuple[int, int, int], list[CutOperation]] = defaultdict(list)
        self._specs_expected: dict[tuple[int, int, int], dict[int, None]] = defaultdict(dict)
        for row in tx.execute(
            select(_T["operations"]).order_by("part_id", "path", "sequence")
        ).mappings():
            key = (row["part_id"], row["tool_number"], row["path"] or 1)
            try:
                self._operations[key].append(cut := operation_from_row(row))
                if told := contradiction_of(cut):
                    self.contradicted.setdefault(key, (row["sequence"], told))
            except Exception as fault:  # one row must not take the others with it
                self.faults["operations", row["part_id"]] = fault
            self._specs_expected[key][row["tool_spec_id"]] = None
        self._groups: dict[int, str] = {
            row.id: row.material_group
            for row in tx.execute(select(_T["parts"].c.id, _T["parts"].c.material_group))
        }
        self._stations = self._by_id(
            tx,
            select(
                _T["stations"].c.id,
                _T["stations"].c.tool_number,
                _T["stations"].c.path,
                _T["stations"].c.max_rpm,
                _T["machines"].c.spindle_max_rpm,
            ).join(_T["machines"], _T["machines"].c.id == _T["stations"].c.machine_id),
        )
        self._specs = self._by_id(
            tx,
            select(
                _T["tool_specs"].c.id,
                _T["tool_specs"].c.max_rpm,
                _T["tool_specs"].c.life_parts,
                _T["holder_types"].c.max_rpm.label("holder_max_rpm"),
            ).join(
                _T["holder_types"], _T["holder_types"].c.id == _T["tool_specs"].c.holder_type_id
            ),
        )
        self._items = self._by_id(
            tx, select(_T["cutting_items"].c.id, _T["cutting_items"].c.tool_material)
        )
        self._curves: dict[tuple[int | str | None, str], Curve] = {}
        in_use = select(_T["tool_life"]).where(_T["tool_life"].c.retired_at.is_(None))
        for row in tx.execute(in_use).mappings():
            which = row["cutting_item_id"] or row["tool_material"]
            try:
                self._curves[which, row["material_group"]] = Curve(*constants_from_row(row))
            except Exception as fault:
                self.faults["tool_life", row["id"]] = fault
        self._adopted: dict[tuple[int, str], Curve] = {}
        # Stations alike in all that wear depends on share a place, and what is known of it.
        places: dict[tuple[int, int, float | None, float | None], int] = {}
        self._place_of: dict[int, int] = {
            row.id: places.setdefault(
                (row.tool_number, row.path or 1, row.spindle_max_rpm, row.max_rpm), len(places)
            )
            for row in self._stations.values()
        }
        self._places = list(places)
        self._known: dict[tuple[int, int, int, int], PartWear | None] = {}

    @staticmethod
    def _by_id(tx: Tx, statement: Any) -> dict[int, Any]:
        return {row.id: row for row in tx.execute(statement)}

    def adopting(self, curves: Mapping[tuple[int, str], Curve]) -> CuttingData:
        """The same data, but with the wear of these items and groups by other curves."""
        other = copy(self)
        other._adopted = self._adopted | dict(curves)
        other._known = {
            key: take
            for key, take in self._known.copy().items()  # other threads may ask meanwhile
            if (key[3], self._groups[key[1]]) not in curves
        }
        return other

    def tools_of(self, part_id: int) -> list[tuple[int, int, int]]:
        """Tool number, path and id of the expected spec, for every tool of a part."""
        return sorted(
            (number, path, next(iter(specs)))
            for (part, number, path), specs in self._specs_expected.items()
            if part == part_id
        )

    def specs_wanted(self, part_id: int, path: int, tool_number: int) -> tuple[int, ...]:
        """Ids of the specs that a part's program names for a tool number, in its order."""
        return tuple(self._specs_expected.get((part_id, tool_number, path), ()))

    def material_group(self, part_id: int) -> str:
        """ISO 513 group of a part's material."""
        return self._groups[part_id]

    def has_plain_guess(self, tool_spec_id: int) -> bool:
        """Whether the shop says about how many parts an edge of the spec makes."""
        return self._specs[tool_spec_id].life_parts is not None

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
        material = self._items[cutting_item_id].tool_material
        of_material = self._curves.get((material, group))
        return self._curves.get((cutting_item_id, group), of_material)

    def curve_in_force(self, cutting_item_id: int, group: str) -> Curve | None:
        """The shop's own constants of an item on a group, else the starter table's row.

        None where the item's tool material is not told either.
        """
        material = self._items[cutting_item_id].tool_material
        own = self._own_curve(cutting_item_id, group)
        return own or (starter_curve(material, group) if material else None)

    def _compute(
        self, place: int, part_id: int, tool_spec_id: int, cutting_item_id: int
    ) -> PartWear | None:
        tool_number, path, machine_rpm, station_rpm = self._places[place]
        spec = self._specs[tool_spec_id]
        group = self._groups[part_id]
        material = self._items[cutting_item_id].tool_material
        curve = self._own_curve(cutting_item_id, group)
        # a plain guess of the spec still comes before anything made of the starter table
        if curve or spec.life_parts is None:
            curve = self._adopted.get((cutting_item_id, group), curve)
        return part_wear(
            self._operations.get((part_id, tool_number, path), ()),
            {
                "machine": machine_rpm,
                "station": station_rpm,
                "holder": spec.holder_max_rpm,
                "tool": spec.max_rpm,
            },
            constants=curve,
            life_parts=spec.life_parts,
            tool_material=material,
            material_group=group,
        )
