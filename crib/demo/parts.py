"""The invented shop's parts with their programs, and the tool specs that these expect."""

from __future__ import annotations

from typing import Final, NamedTuple

from crib.demo.items import HOLDER_TYPES, ITEMS
from crib.demo.machines import MACHINES, Row
from crib.units import TENTHS_UM_PER_MM


class Op(NamedTuple):
    """One operation; lengths and diameters in mm, feed in mm per revolution."""

    tool: int
    kind: str
    item: str
    start: float | None
    end: float | None
    length: float | None
    feed: float
    speed: float
    depth: float | None = None
    passes: int = 1

    @property
    def path(self) -> int:
        """The path that the tool number belongs to."""
        return 1 if self.tool < 20 else 2


class Part(NamedTuple):
    """One part and the machine that makes it."""

    machine: str
    description: str
    material: str
    group: str
    bar: float
    length: float
    cutoff: float
    cycle_s: float
    ops: tuple[Op, ...]


PARTS: Final[dict[str, Part]] = {
    "A-101": Part("L1", "valve needle", "1.4305", "M", 10, 34, 2.0, 62, (
        Op(1, "turn", "DC11-04-M", 10, 6, 22, 0.05, 115, 1.0, 2),
        Op(2, "turn", "VC11-02-M", 6, 4, 20, 0.03, 130, 0.5, 2),
        Op(3, "groove", "GRV-10-M", 6, 4.6, None, 0.02, 80),
        Op(4, "part_off", "PART-20-M", 10, 0, None, 0.03, 85),
        Op(7, "drill", "DRILL-1.0", 1.0, None, 4, 0.02, 25),
        Op(10, "drill", "SPOT-6", 2.0, None, 1.2, 0.04, 40),
        Op(11, "drill", "DRILL-2.5", 2.5, None, 12, 0.04, 55),
        Op(21, "drill", "DRILL-1.6", 1.6, None, 6, 0.025, 38),
        Op(27, "bore", "CC06-02-M", 5, 5.4, 6, 0.03, 90, 0.2),
    )),
    "A-102": Part("L1", "locating pin", "1.0715", "P", 12, 28, 2.0, 38, (
        Op(1, "turn", "DC11-04-P", 12, 8, 20, 0.09, 150, 1.0, 2),
        Op(2, "turn", "VC11-02-P", 8, 7.8, 20, 0.05, 160, 0.1),
        Op(3, "groove", "GRV-10-P", 8, 6.6, None, 0.03, 110),
        Op(4, "part_off", "PART-20-P", 12, 0, None, 0.05, 110),
        Op(8, "mill", "MILL-3", 3, None, 14, 0.04, 70),
        Op(11, "drill", "DRILL-2.5", 2.5, None, 10, 0.06, 75),
        Op(21, "drill", "SPOT-6", 3, None, 1.0, 0.06, 70),
    )),
    "B-201": Part("L2", "threaded stud", "1.0501", "P", 16, 52, 2.0, 74, (
        Op(1, "turn", "DC11-04-P", 16, 10, 40, 0.12, 165, 1.5, 2),
        Op(2, "turn", "VC11-02-P", 10, 9.8, 40, 0.06, 180, 0.1),
        Op(3, "groove", "GRV-10-P", 10, 8.0, None, 0.03, 120),
        Op(5, "thread", "THR-16-P", 10, 8.2, 18, 1.5, 90, 0.32, 8),
        Op(4, "part_off", "PART-20-P", 16, 0, None, 0.06, 120),
        Op(8, "mill", "MILL-6", 6, None, 30, 0.06, 85),
        Op(10, "drill", "SPOT-6", 5, None, 2.5, 0.07, 75),
        Op(11, "drill", "DRILL-4.2", 4.2, None, 18, 0.09, 80),
        Op(12, "tap", "TAP-M5", 5, None, 14, 0.8, 12),
        Op(21, "drill", "DRILL-3.3", 3.3, None, 12, 0.07, 75),
        Op(27, "bore", "CC06-02-P", 8, 8.6, 8, 0.05, 120, 0.3),
    )),
    "B-202": Part("L2", "nozzle body", "CW614N", "N", 18, 30, 2.0, 46, (
        Op(1, "turn", "DC11-04-N", 18, 12, 22, 0.12, 260, 1.5, 2),
        Op(2, "turn", "VC11-02-N", 12, 11.8, 22, 0.06, 300, 0.1),
        Op(3, "groove", "GRV-15-N", 12, 9.5, None, 0.05, 220),
        Op(4, "part_off", "PART-20-P", 18, 0, None, 0.07, 200),
        Op(7, "drill", "DRILL-1.6", 1.6, None, 6, 0.05, 80),
        Op(10, "drill", "SPOT-6", 6, None, 3, 0.1, 140),
        Op(11, "drill", "DRILL-5.0", 5, None, 24, 0.12, 150),
        Op(13, "ream", "REAM-5H7", 5, None, 20, 0.12, 60),
        Op(27, "bore", "CC06-02-N", 9, 10, 8, 0.06, 240, 0.5),
    )),
    "C-301": Part("L3", "bone screw blank", "3.7165", "S", 8, 38, 2.0, 96, (
        Op(1, "turn", "DC11-04-S", 8, 5.5, 32, 0.05, 62, 1.0, 2),
        Op(2, "turn", "VC11-02-S", 5.5, 5.3, 32, 0.03, 70, 0.1),
        Op(4, "part_off", "PART-20-M", 8, 0, None, 0.02, 48),
        Op(8, "mill", "MILL-3", 3, None, 18, 0.03, 42),
        Op(9, "saw", "SAW-08", 30, None, 10, 0.08, 36),
        Op(11, "drill", "DRILL-2.5", 2.5, None, 9, 0.03, 26),
        Op(27, "bore", "CC06-02-M", 5, 5.4, 5, 0.03, 55, 0.2),
    )),
    "C-302": Part("L3", "guide sleeve", "1.4404", "M", 14, 26, 2.0, 68, (
        Op(1, "turn", "DC11-04-M", 14, 11, 24, 0.08, 105, 0.75, 2),
        Op(2, "turn", "VC11-02-M", 11, 10.8, 24, 0.04, 120, 0.1),
        Op(3, "groove", "GRV-10-M", 11, 9.4, None, 0.02, 80),
        Op(4, "part_off", "PART-20-M", 14, 0, None, 0.04, 80),
        Op(10, "drill", "SPOT-6", 4, None, 2, 0.05, 42),
        Op(11, "drill", "DRILL-4.2", 4.2, None, 20, 0.05, 48),
        Op(12, "tap", "TAP-M5", 5, None, 12, 0.8, 7),
        Op(21, "drill", "DRILL-5.0", 5, None, 6, 0.06, 50),
        Op(27, "bore", "CC06-02-M", 7, 8, 10, 0.04, 95, 0.5),
    )),
    "D-401": Part("L4", "connector body", "EN AW-2007", "N", 30, 42, 2.5, 88, (
        Op(1, "turn", "DC11-04-N", 30, 22, 36, 0.15, 320, 2.0, 2),
        Op(2, "turn", "VC11-02-N", 22, 21.8, 36, 0.08, 380, 0.1),
        Op(3, "groove", "GRV-15-N", 22, 18, None, 0.06, 260),
        Op(4, "part_off", "PART-25-K", 30, 0, None, 0.08, 240),
        Op(7, "drill", "DRILL-3.3", 3.3, None, 12, 0.1, 110),
        Op(8, "mill", "MILL-6", 6, None, 60, 0.1, 140),
        Op(10, "drill", "SPOT-6", 6, None, 3, 0.12, 150),
        Op(11, "drill", "DRILL-8.5", 8.5, None, 40, 0.18, 180),
        Op(12, "tap", "TAP-M4", 4, None, 10, 0.7, 18),
        Op(21, "drill", "DRILL-5.0", 5, None, 16, 0.12, 140),
        Op(27, "bore", "CC06-02-N", 12, 14, 14, 0.08, 280, 1.0),
    )),
    "D-402": Part("L4", "bushing", "EN-GJL-250", "K", 28, 24, 2.5, 58, (
        Op(1, "turn", "DC11-04-K", 28, 24, 22, 0.15, 165, 1.0, 2),
        Op(2, "turn", "VC11-04-K", 24, 23.8, 22, 0.08, 185, 0.1),
        Op(4, "part_off", "PART-25-K", 28, 8.5, None, 0.07, 120),
        Op(7, "drill", "DRILL-3.3", 3.3, None, 9, 0.09, 80),
        Op(10, "drill", "SPOT-6", 6, None, 3, 0.1, 80),
        Op(11, "drill", "DRILL-8.5", 8.5, None, 26, 0.16, 85),
        Op(27, "bore", "CC06-04-K", 12, 14, 20, 0.1, 150, 0.5, 2),
    )),
    "E-501": Part("L5", "drive shaft", "1.7225", "P", 25, 96, 2.0, 142, (
        Op(1, "turn", "DC11-04-P", 25, 18, 80, 0.14, 160, 1.75, 2),
        Op(2, "turn", "VC11-02-P", 18, 17.8, 80, 0.07, 170, 0.1),
        Op(3, "groove", "GRV-10-P", 18, 15.6, None, 0.04, 110),
        Op(4, "part_off", "PART-20-P", 25, 0, None, 0.06, 105),
        Op(5, "thread", "THR-16-P", 16, 14.2, 22, 1.5, 85, 0.32, 8),
        Op(8, "mill", "MILL-6", 6, None, 48, 0.05, 75),
        Op(10, "drill", "SPOT-6", 6, None, 3, 0.07, 65),
        Op(11, "drill", "DRILL-5.0", 5, None, 22, 0.08, 65),
        Op(21, "drill", "DRILL-4.2", 4.2, None, 14, 0.08, 62),
        Op(22, "tap", "TAP-M5", 5, None, 12, 0.8, 9),
        Op(27, "bore", "CC06-02-P", 10, 12, 16, 0.07, 130, 1.0),
    )),
    "E-502": Part("L5", "hardened roller", "1.3505, 60 HRC", "H", 20, 32, 2.0, 124, (
        Op(1, "turn", "DC11-04-H", 20, 19.6, 30, 0.06, 135, 0.1, 2),
        Op(3, "groove", "GRV-10-P", 19.6, 18.4, None, 0.015, 32),
        Op(4, "part_off", "PART-20-P", 20, 0, None, 0.015, 30),
        Op(11, "drill", "DRILL-5.0", 5, None, 6, 0.02, 16),
    )),
    "F-601": Part("L6", "pivot pin", "1.0715", "P", 4, 9, 1.5, 24, (
        Op(1, "turn", "DC07-02-P", 4, 2.5, 6, 0.03, 90, 0.75),
        Op(2, "turn", "VC11-02-P", 2.5, 2.0, 6, 0.015, 95, 0.25),
        Op(4, "part_off", "PART-15-P", 4, 0, None, 0.02, 80),
        Op(7, "drill", "DRILL-1.0", 1.0, None, 2.5, 0.02, 32),
        Op(10, "drill", "SPOT-6", 1.2, None, 0.8, 0.03, 45),
        Op(11, "drill", "DRILL-1.0", 1.0, None, 3.5, 0.02, 34),
    )),
    "F-602": Part("L6", "contact sleeve", "CW614N", "N", 6, 14, 1.5, 26, (
        Op(1, "turn", "DC07-02-N", 6, 4, 10, 0.05, 150, 1.0),
        Op(2, "turn", "VC11-02-N", 4, 3.9, 10, 0.02, 160, 0.05),
        Op(4, "part_off", "PART-15-N", 6, 0, None, 0.03, 140),
        Op(8, "mill", "MILL-3", 3, None, 10, 0.04, 95),
        Op(10, "drill", "SPOT-6", 2, None, 1, 0.05, 90),
        Op(11, "drill", "DRILL-1.6", 1.6, None, 9, 0.04, 75),
        Op(21, "drill", "DRILL-2.5", 2.5, None, 4, 0.05, 90),
    )),
}  # fmt: skip

_LETTERS: Final = {
    "turn": "OD", "face": "FC", "bore": "BB", "groove": "GR", "part_off": "PO", "drill": "DR",
    "ream": "RM", "tap": "TP", "thread": "TH", "mill": "ML", "saw": "SW",
}  # fmt: skip
_SHANK: Final = {"DC": "D", "VC": "V", "PA": "P", "GR": "G", "TH": "T"}

#: Half width of what a preset may be off its nominal [0.1 µm].
_TOLERANCE: Final = {"turning": 3_000, "drilling": 10_000, "live": 10_000}


def holder_type_for(machine: str, op: Op) -> str:
    """The holder type that an operation's tool sits in."""
    kind = MACHINES[machine]
    if op.kind == "bore":
        return "BB-" + kind.bore[-2:]
    if op.kind in ("turn", "groove", "part_off", "thread"):
        return f"SH{kind.size}-{_SHANK[op.item[:2]]}"
    if op.kind == "saw":
        return "SAW-16"
    if 7 <= op.tool <= 9 or op.tool in (25, 26):
        return "LU-" + kind.live[-2:]
    return {"bore 16": "ER11-16", "bore 20": "ER16-20", "bore 25": "ER20-25"}[kind.bore]


def spec_name(machine: str, op: Op) -> str:
    """Name of the tool spec: what it does, the holder type, the item."""
    holder = holder_type_for(machine, op).replace("SH", "")
    return f"{_LETTERS[op.kind]} {holder} {op.item}"


def operation_rows() -> list[Row]:
    """The programs' lines."""
    return [
        {
            "part": mark,
            "sequence": 10 * (line + 1),
            "tool_number": op.tool,
            "path": op.path,
            "tool_spec": spec_name(part.machine, op),
            "kind": op.kind,
            "start_diameter_mm": op.start,
            "end_diameter_mm": op.end,
            "length_mm": op.length,
            "feed_mm_rev": op.feed,
            "depth_mm": op.depth,
            "passes": op.passes,
            "cutting_speed_m_min": op.speed,
        }
        for mark, part in PARTS.items()
        for line, op in enumerate(part.ops)
    ]


def part_rows() -> list[Row]:
    """The parts."""
    return [
        {
            "part": mark,
            "description": part.description,
            "material": part.material,
            "material_group": part.group,
            "bar_diameter_mm": float(part.bar),
            "part_length_mm": float(part.length),
            "cutoff_width_mm": part.cutoff,
            "cycle_s": float(part.cycle_s),
        }
        for mark, part in PARTS.items()
    ]


def wear_limit_mm(op: Op) -> float:
    """The flank wear land at which the shop calls an edge worn."""
    if op.kind == "turn" and (op.depth or 1) <= 0.25:
        return 0.1
    return {"turn": 0.2, "bore": 0.12, "groove": 0.15, "part_off": 0.25}.get(op.kind, 0.2)


def spec_rows() -> list[Row]:
    """One spec for each tool that a program expects; shared where programs share it."""
    rows: dict[str, Row] = {}
    for part in PARTS.values():
        for op in part.ops:
            name = spec_name(part.machine, op)
            rows.setdefault(name, _spec(part, op, name))
    return list(rows.values())


def _spec(part: Part, op: Op, name: str) -> Row:
    holder = HOLDER_TYPES[holder_type_for(part.machine, op)]
    turning = ITEMS[op.item].kind == "insert"
    stickout = 0 if turning else 220_000
    radius = (
        {"02": 2_000, "04": 4_000}.get(op.item[5:7]) if op.kind in ("turn", "bore") else None
    )
    row: Row = {
        "tool_spec": name,
        "description": f"{op.kind.replace('_', ' ')} with {op.item}",
        "holder_type": holder_type_for(part.machine, op),
        "cutting_items": (op.item,),
        "tip_orientation": {"turn": 3, "bore": 2, "groove": 8, "part_off": 8}.get(op.kind),
        "nose_radius_mm": radius,
        "lf_nominal_mm": int(holder.reach_mm * TENTHS_UM_PER_MM) + stickout,
        "wf_nominal_mm": int(holder.width_mm * TENTHS_UM_PER_MM) if holder.width_mm else None,
        "tolerance_mm": _TOLERANCE[holder.kind],
        "torque_nm": 1.2 if turning else 16.0,
        "preset_minutes": 9.0 if turning else 12.0,
        "clearance_deg": 7.0 if turning else None,
        "wear_limit_mm": wear_limit_mm(op),
        "failure_cost": 9_000 if turning else 14_000,
        "swap_minutes": 5.0 if turning else 7.0,
    }
    if op.kind in ("saw", "tap"):  # no constants for these: the shop only has a feeling
        row["life_parts"] = {"saw": 4_000.0, "tap": 12_000.0}[op.kind]
    return row
