"""The rows of the shop, kept from look to look: only what changed since is read again.

What a machine is known by is read again when a write touched it, and what machines share when
a write touched that; see crib.store.revisions for which is which. Everything is read again

- where it is not known what a write touched, or a fact was taken back;
- where the time of a fact dated ahead has come, or the clock was put back;
- where the database is not the one of the last look with writes added (a backup put back);
- when the last whole look is five minutes old, or nothing was written since the last look:
  so that what was written past the service is seen too.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from crib.outlook.cutting_data import CuttingData
from crib.outlook.implausible import Implausible, implausible_rows_of
from crib.outlook.kept_output import KeptOutput
from crib.outlook.shop_read import ShopRead
from crib.store.engine import Tx
from crib.store.facts import first_ahead, last_fact_id
from crib.store.machine_rows import MachineRows, load_machine, load_machines_whole
from crib.store.revisions import Revisions, goes_on_from, machines_changed, revisions
from crib.store.shop_rows import SharedRows, load_shared, put_together
from crib.store.wear_rows import read_cutting_rows

#: Age at which everything is read again although every write was seen.
WHOLE_AFTER: Final = timedelta(minutes=5)


class KeptShop(KeptOutput):
    """What a process keeps of the shop: readings, outputs, and the rows that did not change.

    Looks have to be made in transactions that write nothing. Not thread-safe.

    Args:
        whole_after: Age at which everything is read again although every write was seen.
    """

    def __init__(self, whole_after: timedelta = WHOLE_AFTER) -> None:
        super().__init__()
        self._whole_after_us = round(whole_after / timedelta(microseconds=1))
        self._held: _Held | None = None

    def look(self, tx: Tx, as_of_us: int) -> ShopRead:
        """The shop as the facts dated up to an instant tell it [µs]."""
        at = revisions(tx)
        held = self._held
        self._held = None  # until all is read, so that nothing half old is ever kept
        if held is None or not self._goes_on(tx, held, at, as_of_us):
            now = _read_whole(tx, at, as_of_us)
        else:
            now = _refreshed(tx, held, at, as_of_us)
        self._held = now
        rows = put_together(now.shared, now.machines, self.read(tx, as_of_us))
        return ShopRead(rows, now.cutting, now.implausible)

    def _goes_on(self, tx: Tx, held: _Held, at: Revisions, as_of_us: int) -> bool:
        """Whether what is held still holds, but for what the revisions say."""
        return (
            at.last != held.at.last
            and at.everything <= held.at.last
            and held.as_of_us <= as_of_us < held.ahead_us
            and as_of_us - held.whole_us < self._whole_after_us
            and goes_on_from(tx, held.at)
        )


@dataclass(frozen=True, slots=True)
class _Held:
    """What was read, and when that was so.

    Attributes:
        at: Where the database stood.
        as_of_us: Facts dated later were not seen [µs].
        ahead_us: The first instant of a fact that was dated later [µs].
        last_fact: The last fact that was looked at for that.
        whole_us: When everything was read [µs].
    """

    at: Revisions
    as_of_us: int
    ahead_us: int
    last_fact: int
    whole_us: int
    shared: SharedRows
    cutting: CuttingData
    implausible: Implausible
    machines: dict[int, MachineRows]


def _read_whole(tx: Tx, at: Revisions, as_of_us: int) -> _Held:
    cutting = CuttingData(read_cutting_rows(tx))
    return _Held(
        at,
        as_of_us,
        first_ahead(tx, 0, as_of_us),
        last_fact_id(tx),
        as_of_us,
        load_shared(tx, as_of_us),
        cutting,
        implausible_rows_of(tx, cutting),
        load_machines_whole(tx, as_of_us),
    )


def _refreshed(tx: Tx, held: _Held, at: Revisions, as_of_us: int) -> _Held:
    """What was held with what changed since read again."""
    before = held.at.last
    changed = machines_changed(tx, before)
    ahead_us = min(held.ahead_us, first_ahead(tx, held.last_fact, as_of_us))
    shared, cutting, wrong = held.shared, held.cutting, held.implausible
    if at.shared > before:
        shared, cutting = load_shared(tx, as_of_us), CuttingData(read_cutting_rows(tx))
        wrong = implausible_rows_of(tx, cutting)
    return _Held(
        at,
        as_of_us,
        ahead_us,
        last_fact_id(tx),
        held.whole_us,
        shared,
        cutting,
        wrong,
        held.machines | {number: load_machine(tx, as_of_us, number) for number in changed},
    )
