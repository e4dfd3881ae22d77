"""The speed-life constants that the invented shop uses; its hidden truth differs."""

from __future__ import annotations

from typing import Final

from crib.demo.machines import Row

_SOURCE: Final = "invented for the demo"

# cutting item, group, n, C [m/min] at the reference feed [mm/rev]
_CONSTANTS: Final[tuple[tuple[str, str, float, float, float | None], ...]] = (
    ("DC11-04-M", "M", 0.24, 468.0, 0.06),
    ("VC11-02-M", "M", 0.24, 481.0, 0.06),
    ("GRV-10-M", "M", 0.24, 175.0, 0.06),
    ("PART-20-M", "M", 0.24, 252.0, 0.06),
    ("DRILL-1.0", "M", 0.23, 60.9, 0.04),
    ("SPOT-6", "M", 0.23, 116.0, 0.04),
    ("DRILL-2.5", "M", 0.23, 191.0, 0.04),
    ("DRILL-1.6", "M", 0.23, 102.0, 0.04),
    ("CC06-02-M", "M", 0.24, 311.0, 0.06),
    ("DC11-04-P", "P", 0.25, 677.0, 0.08),
    ("VC11-02-P", "P", 0.25, 514.0, 0.08),
    ("GRV-10-P", "P", 0.25, 244.0, 0.08),
    ("PART-20-P", "P", 0.25, 354.0, 0.08),
    ("MILL-3", "P", 0.24, 265.0, 0.06),
    ("DRILL-2.5", "P", 0.24, 249.0, 0.06),
    ("SPOT-6", "P", 0.24, 164.0, 0.06),
    ("THR-16-P", "P", 0.25, 289.0, None),
    ("MILL-6", "P", 0.24, 341.0, 0.06),
    ("DRILL-4.2", "P", 0.24, 234.0, 0.06),
    ("DRILL-3.3", "P", 0.24, 236.0, 0.06),
    ("CC06-02-P", "P", 0.25, 415.0, 0.08),
    ("DC11-04-N", "N", 0.32, 1610.0, 0.1),
    ("VC11-02-N", "N", 0.32, 1190.0, 0.1),
    ("GRV-15-N", "N", 0.32, 659.0, 0.1),
    ("PART-20-P", "N", 0.3, 789.0, 0.08),
    ("DRILL-1.6", "N", 0.32, 200.0, 0.1),
    ("SPOT-6", "N", 0.32, 388.0, 0.1),
    ("DRILL-5.0", "N", 0.32, 612.0, 0.1),
    ("REAM-5H7", "N", 0.32, 427.0, 0.1),
    ("CC06-02-N", "N", 0.32, 1090.0, 0.1),
    ("DC11-04-S", "S", 0.22, 199.0, 0.05),
    ("VC11-02-S", "S", 0.22, 192.0, 0.05),
    ("PART-20-M", "S", 0.22, 96.0, 0.05),
    ("MILL-3", "S", 0.22, 118.0, 0.04),
    ("DRILL-2.5", "S", 0.22, 68.6, 0.04),
    ("CC06-02-M", "S", 0.22, 123.0, 0.05),
    ("DRILL-4.2", "M", 0.23, 212.0, 0.04),
    ("DRILL-5.0", "M", 0.23, 172.0, 0.04),
    ("PART-25-K", "N", 0.3, 994.0, 0.08),
    ("DRILL-3.3", "N", 0.32, 299.0, 0.1),
    ("MILL-6", "N", 0.32, 834.0, 0.1),
    ("DRILL-8.5", "N", 0.32, 940.0, 0.1),
    ("DC11-04-K", "K", 0.28, 852.0, 0.12),
    ("VC11-04-K", "K", 0.28, 853.0, 0.12),
    ("PART-25-K", "K", 0.28, 547.0, 0.12),
    ("DRILL-3.3", "K", 0.26, 230.0, 0.12),
    ("SPOT-6", "K", 0.26, 247.0, 0.12),
    ("DRILL-8.5", "K", 0.26, 392.0, 0.12),
    ("CC06-04-K", "K", 0.28, 880.0, 0.12),
    ("DRILL-5.0", "P", 0.24, 230.0, 0.06),
    ("DC11-04-H", "H", 0.35, 605.0, 0.06),
    ("GRV-10-P", "H", 0.22, 77.3, 0.02),
    ("PART-20-P", "H", 0.22, 110.0, 0.02),
    ("DRILL-5.0", "H", 0.2, 47.5, 0.02),
    ("DC07-02-P", "P", 0.25, 252.0, 0.08),
    ("PART-15-P", "P", 0.25, 184.0, 0.08),
    ("DRILL-1.0", "P", 0.24, 77.2, 0.06),
    ("DC07-02-N", "N", 0.32, 590.0, 0.1),
    ("PART-15-N", "N", 0.32, 419.0, 0.1),
    ("MILL-3", "N", 0.32, 408.0, 0.1),
    ("DRILL-2.5", "N", 0.32, 327.0, 0.1),
)


def tool_life_rows() -> list[Row]:
    """Constants of each cutting item in each group of material that it cuts."""
    return [
        {
            "cutting_item": item,
            "material_group": group,
            "n": n,
            "c_m_min": c,
            "feed_exponent": None if feed is None else 0.2,
            "reference_feed_mm_rev": feed,
            "source": _SOURCE,
        }
        for item, group, n, c, feed in _CONSTANTS
    ]
