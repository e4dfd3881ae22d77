"""What to take and how to put it together: the recipe of an assembly."""

from __future__ import annotations

from dataclasses import dataclass

from crib.store.assemblies import AssemblyRow
from crib.store.engine import Tx
from crib.store.piece_rows import pieces_of_assembly
from crib.store.stockrows import HolderRow, LotRow, SpecRow, holder_row, lot_row, spec_row


@dataclass(frozen=True, slots=True)
class PieceTaken:
    """One insert or cutter of a tool: its number within the lot, the edge, how often ground."""

    number: int
    edge: int
    grind: int


@dataclass(frozen=True, slots=True)
class Recipe:
    """What an assembly is made of and should measure; lengths in 0.1 µm."""

    tool_spec: str
    holder: str
    holder_code: str
    holder_type: str
    holder_location: str | None
    cutting_item: str
    designation: str
    grade: str | None
    lot: str
    lot_code: str
    lot_location: str | None
    pieces: tuple[PieceTaken, ...]
    edge: int
    edges: int
    torque_nm: float | None
    lf_nominal_tenths_um: int | None
    wf_nominal_tenths_um: int | None
    hf_nominal_tenths_um: int | None
    tolerance_tenths_um: int | None
    nose_radius_tenths_um: int | None
    tip_orientation: int | None
    max_rpm: float | None
    preset_minutes: float | None


def recipe_from(
    spec: SpecRow,
    holder: HolderRow,
    lot: LotRow,
    edge: int,
    pieces: tuple[PieceTaken, ...],
) -> Recipe:
    """Put a recipe together from its rows."""
    limits = [rpm for rpm in (spec.max_rpm, holder.max_rpm) if rpm is not None]
    return Recipe(
        tool_spec=spec.tool_spec,
        holder=holder.mark,
        holder_code=holder.code,
        holder_type=holder.holder_type,
        holder_location=holder.location,
        cutting_item=lot.cutting_item,
        designation=lot.designation,
        grade=lot.grade,
        lot=lot.mark,
        lot_code=lot.code,
        lot_location=lot.location,
        pieces=pieces,
        edge=edge,
        edges=lot.edges,
        torque_nm=spec.torque_nm,
        lf_nominal_tenths_um=spec.lf_nominal_tenths_um,
        wf_nominal_tenths_um=spec.wf_nominal_tenths_um,
        hf_nominal_tenths_um=spec.hf_nominal_tenths_um,
        tolerance_tenths_um=spec.tolerance_tenths_um,
        nose_radius_tenths_um=spec.nose_radius_tenths_um,
        tip_orientation=spec.tip_orientation,
        max_rpm=min(limits, default=None),
        preset_minutes=spec.preset_minutes,
    )


def recipe_of(tx: Tx, assembly: AssemblyRow) -> Recipe:
    """The recipe that an assembly was built to."""
    return recipe_from(
        spec_row(tx, assembly.tool_spec_id),
        holder_row(tx, assembly.holder_id),
        lot_row(tx, assembly.lot_id),
        assembly.edge,
        tuple(
            PieceTaken(use.piece.number, use.edge, use.grind)
            for use in pieces_of_assembly(tx, assembly.id)
        ),
    )
