"""The invented shop's cutting items, holder types and holders."""

from __future__ import annotations

import random
from typing import Final, NamedTuple

from crib.demo.machines import Row


class Item(NamedTuple):
    """One cutting item: what it is, what it costs, how many lie in a box."""

    kind: str
    designation: str
    grade: str
    material: str
    edges: int
    regrinds: int
    price: int
    pack: int


def _insert(designation: str, grade: str, edges: int, price: int, material: str = "") -> Item:
    return Item("insert", designation, grade, material or "coated_carbide", edges, 0, price, 10)


def _round(
    designation: str, price: int, regrinds: int = 0, material: str = "carbide", pack: int = 5
) -> Item:
    grade = "U10" if material == "carbide" else "S6"
    return Item("round", designation, grade, material, 1, regrinds, price, pack)


#: Designations of inserts by ISO 1832 where it has any; the others in plain words.
ITEMS: Final[dict[str, Item]] = {
    "DC07-02-P": _insert("DCGT070202", "P15", 2, 980),
    "DC07-02-N": _insert("DCGT070202", "N10", 2, 890, "carbide"),
    "DC11-02-P": _insert("DCGT11T302", "P15", 2, 1_120),
    "DC11-04-P": _insert("DCGT11T304", "P25", 2, 1_090),
    "DC11-02-M": _insert("DCGT11T302", "M15", 2, 1_240),
    "DC11-04-M": _insert("DCGT11T304", "M25", 2, 1_210),
    "DC11-04-N": _insert("DCGT11T304", "N10", 2, 990, "carbide"),
    "DC11-04-K": _insert("DCMT11T304", "K20", 2, 940),
    "DC11-04-S": _insert("DCGT11T304", "S15", 2, 1_480),
    "DC11-04-H": _insert("DCGW11T304", "B20", 2, 6_900, "cbn"),
    "VC11-02-P": _insert("VCGT110302", "P15", 2, 1_310),
    "VC11-02-M": _insert("VCGT110302", "M15", 2, 1_390),
    "VC11-02-N": _insert("VCGT110302", "N10", 2, 1_120, "carbide"),
    "VC11-02-S": _insert("VCGT110302", "S15", 2, 1_620),
    "VC11-04-K": _insert("VCMT110304", "K20", 2, 1_050),
    "PART-15-P": _insert("parting 1.5 P", "P25", 2, 1_450),
    "PART-15-N": _insert("parting 1.5 N", "N10", 2, 1_380, "carbide"),
    "PART-20-P": _insert("parting 2.0 P", "P25", 2, 1_520),
    "PART-20-M": _insert("parting 2.0 M", "M25", 2, 1_620),
    "PART-25-K": _insert("parting 2.5 K", "K20", 2, 1_560),
    "GRV-10-P": _insert("grooving 1.0 P", "P15", 3, 1_710),
    "GRV-10-M": _insert("grooving 1.0 M", "M15", 3, 1_790),
    "GRV-15-N": _insert("grooving 1.5 N", "N10", 3, 1_690, "carbide"),
    "THR-16-P": _insert("threading 16 ER 60", "P15", 3, 1_880),
    "CC06-02-P": _insert("CCGT060202", "P15", 2, 1_060),
    "CC06-02-M": _insert("CCGT060202", "M15", 2, 1_160),
    "CC06-02-N": _insert("CCGT060202", "N10", 2, 940, "carbide"),
    "CC06-04-K": _insert("CCMT060204", "K20", 2, 920),
    "DRILL-1.0": _round("drill 1.0", 2_450),
    "DRILL-1.6": _round("drill 1.6", 2_380),
    "DRILL-2.5": _round("drill 2.5", 2_900, 2),
    "DRILL-3.3": _round("drill 3.3", 3_150, 3),
    "DRILL-4.2": _round("drill 4.2", 3_480, 3),
    "DRILL-5.0": _round("drill 5.0", 3_750, 3),
    "DRILL-8.5": _round("drill 8.5", 5_200, 4),
    "SPOT-6": _round("spot drill 6 x 90", 3_900, 3),
    "REAM-5H7": _round("reamer 5 H7", 5_400),
    "TAP-M5": _round("tap M5", 2_150, 0, "hss", 10),
    "TAP-M4": _round("tap M4", 1_980, 0, "hss", 10),
    "MILL-3": _round("end mill 3", 2_250, 1),
    "MILL-6": _round("end mill 6", 3_400, 2),
    "SAW-08": _round("slitting saw 0.8 x 30", 4_800, 2),
}


def _starts(prefix: str, grades: str) -> str:
    return "|".join(f"{prefix} {grade}" for grade in grades)


class HolderType(NamedTuple):
    """One type of holder and how many of them the shop owns."""

    designation: str
    interface: str
    kind: str
    accepts: str
    reach_mm: float
    owned: int
    max_rpm: float | None = None
    width_mm: float | None = None


def _shanks(size: str, length: float, insert: str, owned: int) -> dict[str, HolderType]:
    """Square shanks of one size; ISO 5608 where it has a designation."""
    square = f"shank {size}"
    letter = {85.0: "F", 100.0: "H", 125.0: "K", 150.0: "M"}[length]  # ISO 5608, from memory
    side = float(size)
    return {
        f"SH{size}-D": HolderType(
            f"SDJCR{size}{size}{letter}{insert}", square, "turning",
            f"DCGT{insert}|DCMT{insert}|DCGW{insert}", length, owned, None, side + 2,
        ),
        f"SH{size}-V": HolderType(
            f"SVJCR{size}{size}{letter}11", square, "turning", "VCGT11|VCMT11", length, owned,
            None, side + 2,
        ),
        f"SH{size}-P": HolderType(
            f"parting shank {size} x {size} R", square, "turning", "parting", length,
            owned - 2, None, side / 2,
        ),
        f"SH{size}-G": HolderType(
            f"grooving shank {size} x {size} R", square, "turning", "grooving", length,
            owned - 4, None, side / 2,
        ),
    }  # fmt: skip


#: Collet holders by ISO 15488 sizes.
HOLDER_TYPES: Final[dict[str, HolderType]] = {
    **_shanks("08", 85.0, "07", 12),
    **_shanks("10", 100.0, "11", 12),
    **_shanks("12", 125.0, "11", 18),
    **_shanks("16", 150.0, "11", 18),
    "SH12-T": HolderType("threading shank 12 x 12 R", "shank 12", "turning", "threading",
                         125.0, 10, None, 14.0),
    "SH16-T": HolderType("threading shank 16 x 16 R", "shank 16", "turning", "threading",
                         150.0, 10, None, 18.0),
    "ER11-16": HolderType("ER11 collet chuck, shank 16", "bore 16", "drilling", "", 48.0, 30),
    "ER16-20": HolderType("ER16 collet chuck, shank 20", "bore 20", "drilling", "", 55.0, 28),
    "ER20-25": HolderType("ER20 collet chuck, shank 25", "bore 25", "drilling", "", 62.0, 28),
    "LU-11": HolderType("live unit ER11", "live 11", "live", "", 58.0, 18, 10_000.0),
    "LU-16": HolderType("live unit ER16", "live 16", "live", "", 66.0, 22, 8_000.0),
    "SAW-16": HolderType("saw arbor, live", "live 16", "live", "slitting saw", 64.0, 6,
                         4_000.0),
    "BB-16": HolderType("A08F-SCLCR06 in sleeve 16", "bore 16", "turning", "CCGT06|CCMT06",
                        45.0, 12, None, 5.0),
    "BB-20": HolderType("A10H-SCLCR06 in sleeve 20", "bore 20", "turning", "CCGT06|CCMT06",
                        52.0, 12, None, 6.0),
    "BB-25": HolderType("A12K-SCLCR06 in sleeve 25", "bore 25", "turning", "CCGT06|CCMT06",
                        60.0, 12, None, 8.0),
}  # fmt: skip


def item_rows() -> list[Row]:
    """The cutting items."""
    return [
        {
            "cutting_item": mark,
            "kind": item.kind,
            "designation": item.designation,
            "grade": item.grade,
            "tool_material": item.material,
            "edges": item.edges,
            "regrinds": item.regrinds,
            "price": item.price,
            "pack_size": item.pack,
            "min_stock": item.pack,
            "lead_days": 5.0 if item.kind == "insert" else 8.0,
        }
        for mark, item in ITEMS.items()
    ]


def holder_type_rows() -> list[Row]:
    """The holder types."""
    return [
        {
            "holder_type": mark,
            "designation": kind.designation,
            "interface": kind.interface,
            "kind": kind.kind,
            "accepts": kind.accepts or None,
            "reach_mm": kind.reach_mm,
            "max_rpm": kind.max_rpm,
        }
        for mark, kind in HOLDER_TYPES.items()
    ]


def holder_rows(draw: random.Random) -> list[Row]:
    """Every holder with its mark and its place; some lent, some in repair."""
    rows: list[Row] = []
    for place, (mark, kind) in enumerate(HOLDER_TYPES.items()):
        for number in range(1, kind.owned + 1):
            condition = "good"
            if draw.random() < 0.03:
                condition = draw.choice(["repair", "lent", "quarantine"])
            rows.append(
                {
                    "holder": f"{mark}/{number:02d}",
                    "holder_type": mark,
                    "location": f"drawer {place // 4 + 1}.{number % 6 + 1}",
                    "condition": condition,
                }
            )
    return rows
