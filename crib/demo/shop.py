"""The invented shop as a folder of shop files, the same for the same seed and day."""

from __future__ import annotations

import random
import tempfile
from datetime import date, timedelta
from pathlib import Path

from crib.acts.import_shop import import_shop
from crib.demo.constants import tool_life_rows
from crib.demo.items import ITEMS, holder_rows, holder_type_rows, item_rows
from crib.demo.machines import MASTER_LF, MASTER_WF, Row, gauge_rows, machine_records
from crib.demo.parts import operation_rows, part_rows, spec_rows
from crib.errors import Refusal
from crib.metrology.preset import Reading
from crib.records.catalogue import BY_NAME, GAUGES
from crib.records.columns import Record
from crib.shopfiles.writing import write_file
from crib.store.engine import Store
from crib.store.records import insert_record
from crib.units import TenthsUm

#: Item that is nearly used up and not on order.
SCARCE = "SAW-08"


def lot_rows(draw: random.Random, first_day: date) -> list[Row]:
    """Three boxes of each item; the newest came in shortly before the first day."""
    rows: list[Row] = []
    for place, (mark, item) in enumerate(ITEMS.items()):
        for number in range(3):
            quantity = item.pack * draw.choice((1, 1, 2))
            if number == 0:
                quantity = draw.randint(2, item.pack)
            if mark == SCARCE:
                quantity = 3
            rows.append(
                {
                    "lot": f"{place + 101}-{chr(ord('A') + number)}",
                    "cutting_item": mark,
                    "quantity": quantity,
                    "received_on": first_day - timedelta(days=draw.randint(4, 20), weeks=8)
                    + timedelta(days=25 * number),
                    "location": f"cabinet {place // 14 + 1}, drawer {place % 14 + 1}",
                }
            )  # fmt: skip
    return rows


def master_readings(draw: random.Random, off: float) -> list[Reading]:
    """Five looks at the setting master through a gauge that reads ``off`` [0.1 µm]."""
    bias = off + draw.gauss(0, 4)
    return [
        Reading(
            TenthsUm(round(MASTER_LF + bias + draw.gauss(0, 3.5))),
            TenthsUm(round(MASTER_WF + bias + draw.gauss(0, 3.5))),
        )
        for _ in range(5)
    ]


def shop_records(seed: int, first_day: date) -> list[tuple[Record, list[Row]]]:
    """Every record of the shop but its runs, file by file.

    Args:
        seed: Same seed, same shop.
        first_day: Day on which its history begins.
    """
    draw = random.Random(f"{seed}/shop")
    named = [
        *machine_records(first_day),
        ("cutting_items", item_rows()),
        ("holder_types", holder_type_rows()),
        ("holders", holder_rows(draw)),
        ("lots", lot_rows(draw, first_day)),
        ("tool_specs", spec_rows()),
        ("parts", part_rows()),
        ("operations", operation_rows()),
        ("tool_life", tool_life_rows()),
    ]
    return [(BY_NAME[name], rows) for name, rows in named]


def write_shop(folder: Path, seed: int, first_day: date) -> None:
    """Write the shop files into a folder that is there."""
    for record, rows in shop_records(seed, first_day):
        write_file(record, rows, folder / str(record.file))


def import_demo(store: Store, seed: int, first_day: date) -> None:
    """Import the shop into an empty database, as any shop is imported.

    Raises:
        Refusal: The files are wrong, which only a slip in this package can cause.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_shop(folder, seed, first_day)
        report = import_shop(store, folder)
    if not report.accepted:
        raise Refusal("The demo's shop files are wrong: " + "; ".join(map(str, report.errors)))
    with store.write() as tx:
        for row in gauge_rows():
            insert_record(tx, GAUGES, row)
