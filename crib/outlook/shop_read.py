"""What is read of the shop before anything is worked out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from crib.outlook.cutting_data import CuttingData
from crib.outlook.implausible import Implausible, implausible_rows_of
from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.readings import Readings
from crib.store.shop_rows import ShopRows, load_shop
from crib.store.wear_rows import read_cutting_rows


class ShopRead(NamedTuple):
    """The shop as it was read.

    Attributes:
        rows: Facts and records.
        cutting: Wear per part of any station and part.
        implausible: Rows of records that hold numbers nobody can mean.
    """

    rows: ShopRows
    cutting: CuttingData
    implausible: Implausible


def read_whole(
    tx: Tx, as_of_us: int, readings: Mapping[Counted, Readings] | None = None
) -> ShopRead:
    """Read all of the shop.

    Args:
        tx: An open transaction.
        as_of_us: Facts dated later are not seen [µs].
        readings: Counter readings dated up to then, where somebody has them already.
    """
    cutting = CuttingData(read_cutting_rows(tx))
    rows = load_shop(tx, as_of_us, readings)
    return ShopRead(rows, cutting, implausible_rows_of(tx, cutting))
