"""The speed-life constants that the invented shop uses; its hidden truth differs."""

from __future__ import annotations

from typing import Final

from crib.demo.machines import Row

_SOURCE: Final = "invented for the demo"

# cutting item, group, n, C [m/min] at the reference feed [mm/rev]
_CONSTANTS: Final[tuple[tuple[str, str, float, float, float | None], ...]] = (
    ("DC11-04-M", "M", 0.24, 576.0, 0.06),
    ("VC11-02-M", "M", 0.24, 557.0, 0.06),
    ("GRV-10-M", "M", 0.24, 193.0, 0.06),
    ("PART-20-M", "M", 0.24, 278.0, 0.06),
    ("DRILL-1.0", "M", 0.23, 66.9, 0.04),
    ("SPOT-6", "M", 0.23, 127.0, 0.04),
    ("DRILL-2.5", "M", 0.23, 210.0, 0.04),
    ("DRILL-1.6", "M", 0.23, 112.0, 0.04),
    ("CC06-02-M", "M", 0.24, 343.0, 0.06),
    ("DC11-04-P", "P", 0.25, 1080.0, 0.08),
    ("VC11-02-P", "P", 0.25, 890.0, 0.08),
    ("GRV-10-P", "P", 0.25, 270.0, 0.08),
    ("PART-20-P", "P", 0.25, 393.0, 0.08),
    ("MILL-3", "P", 0.24, 292.0, 0.06),
    ("DRILL-2.5", "P", 0.24, 274.0, 0.06),
    ("SPOT-6", "P", 0.24, 181.0, 0.06),
    ("THR-16-P", "P", 0.25, 337.0, None),
    ("MILL-6", "P", 0.24, 395.0, 0.06),
    ("DRILL-4.2", "P", 0.24, 273.0, 0.06),
    ("DRILL-3.3", "P", 0.24, 260.0, 0.06),
    ("CC06-02-P", "P", 0.25, 459.0, 0.08),
    ("DC11-04-N", "N", 0.32, 2870.0, 0.1),
    ("VC11-02-N", "N", 0.32, 1960.0, 0.1),
    ("GRV-15-N", "N", 0.32, 750.0, 0.1),
    ("PART-20-P", "N", 0.3, 891.0, 0.08),
    ("DRILL-1.6", "N", 0.32, 284.0, 0.1),
    ("SPOT-6", "N", 0.32, 442.0, 0.1),
    ("DRILL-5.0", "N", 0.32, 932.0, 0.1),
    ("REAM-5H7", "N", 0.32, 486.0, 0.1),
    ("CC06-02-N", "N", 0.32, 1240.0, 0.1),
    ("DC11-04-S", "S", 0.22, 267.0, 0.05),
    ("VC11-02-S", "S", 0.22, 245.0, 0.05),
    ("PART-20-M", "S", 0.22, 131.0, 0.05),
    ("MILL-3", "S", 0.22, 136.0, 0.04),
    ("DRILL-2.5", "S", 0.22, 75.0, 0.04),
    ("CC06-02-M", "S", 0.22, 134.0, 0.05),
    ("DRILL-4.2", "M", 0.23, 233.0, 0.04),
    ("DRILL-5.0", "M", 0.23, 189.0, 0.04),
    ("PART-25-K", "N", 0.3, 1120.0, 0.08),
    ("DRILL-3.3", "N", 0.32, 340.0, 0.1),
    ("MILL-6", "N", 0.32, 950.0, 0.1),
    ("DRILL-8.5", "N", 0.32, 1070.0, 0.1),
    ("DC11-04-K", "K", 0.28, 1050.0, 0.12),
    ("VC11-04-K", "K", 0.28, 1230.0, 0.12),
    ("PART-25-K", "K", 0.28, 613.0, 0.12),
    ("DRILL-3.3", "K", 0.26, 256.0, 0.12),
    ("SPOT-6", "K", 0.26, 274.0, 0.12),
    ("DRILL-8.5", "K", 0.26, 436.0, 0.12),
    ("CC06-04-K", "K", 0.28, 986.0, 0.12),
    ("DRILL-5.0", "P", 0.24, 270.0, 0.06),
    ("DC11-04-H", "H", 0.35, 1450.0, 0.06),
    ("GRV-10-P", "H", 0.22, 84.5, 0.02),
    ("PART-20-P", "H", 0.22, 137.0, 0.02),
    ("DRILL-5.0", "H", 0.2, 51.7, 0.02),
    ("DC07-02-P", "P", 0.25, 325.0, 0.08),
    ("PART-15-P", "P", 0.25, 204.0, 0.08),
    ("DRILL-1.0", "P", 0.24, 99.7, 0.06),
    ("DC07-02-N", "N", 0.32, 901.0, 0.1),
    ("PART-15-N", "N", 0.32, 477.0, 0.1),
    ("MILL-3", "N", 0.32, 465.0, 0.1),
    ("DRILL-2.5", "N", 0.32, 376.0, 0.1),
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
