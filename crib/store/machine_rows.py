"""What is one machine's: the stays in its stations, their size corrections, its runs.

Facts are read as they were known at an instant, runs as they are now. All machines are read at
once, or one by itself, by the same statements.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from crib.store.engine import Tx
from crib.store.named_rows import rows_by_name
from crib.store.shop_records import RunOfShop, load_runs, load_runs_of

#: Stands for the machine of a station that is not on record.
NO_MACHINE = 0

#: Condition that nobody took a fact back until an instant, for its id.
STANDS = (
    "NOT EXISTS (SELECT 1 FROM facts AS v WHERE v.reverses_id = {}"
    " AND v.kind = 'reversal' AND v.at <= :as_of)"
)
_OF_MACHINE = "m.station_id IN (SELECT id FROM stations WHERE machine_id = :machine)"


def _stays(where: str) -> str:
    return f"""
    SELECT mount_id, begin_us, station_id, assembly_id,
           CASE WHEN broken_us < removed_us THEN broken_us ELSE removed_us END AS end_us,
           CASE WHEN removed_us IS NOT NULL AND broken_us IS NOT NULL THEN 'broken'
             ELSE reason END AS reason,
           flank_wear_tenths_um, broken_us, removal_id, sure_parts
    FROM (
        SELECT m.fact_id AS mount_id, f.at AS begin_us, m.station_id, m.assembly_id,
               rf.at AS removed_us, r.reason, r.flank_wear_tenths_um,
               (SELECT min(x.at) FROM breakages AS b JOIN facts AS x ON x.id = b.fact_id
                WHERE b.mount_id = m.fact_id AND x.at <= :as_of
                  AND {STANDS.format("b.fact_id")}) AS broken_us,
               r.fact_id AS removal_id,
               (SELECT c.parts FROM life_confirmations AS c JOIN facts AS x ON x.id = c.fact_id
                WHERE c.removal_id = r.fact_id AND x.at <= :as_of
                  AND {STANDS.format("c.fact_id")}
                ORDER BY c.fact_id DESC LIMIT 1) AS sure_parts
        FROM mounts AS m JOIN facts AS f ON f.id = m.fact_id
        LEFT JOIN removals AS r ON r.mount_id = m.fact_id
          AND (SELECT x.at FROM facts AS x WHERE x.id = r.fact_id) <= :as_of
          AND {STANDS.format("r.fact_id")}
        LEFT JOIN facts AS rf ON rf.id = r.fact_id
        WHERE f.at <= :as_of AND {STANDS.format("m.fact_id")} AND {where})
    ORDER BY begin_us, mount_id
    """  # noqa: S608 - no value from outside


def _size_corrections(where: str) -> str:
    return f"""
    SELECT c.mount_id, m.station_id, f.at, c.change_tenths_um
    FROM corrections AS c JOIN facts AS f ON f.id = c.fact_id
    JOIN mounts AS m ON m.fact_id = c.mount_id
    WHERE f.at <= :as_of AND c.correction_kind = 'size' AND c.axis = 'X'
      AND {STANDS.format("c.fact_id")} AND {where}
    ORDER BY f.at, c.fact_id
    """  # noqa: S608 - no value from outside


class StayRow(NamedTuple):
    """One stay of an assembly in a station; ``end_us`` is None while it lasts.

    Where a breakage was signalled (``broken_us``) the edge's life ended there: a stay that is
    over ends then, and ends as broken.

    ``removal_id`` is the removal that ended it. Where a person said that the record of the
    edge's life up to there is right, ``sure_parts`` are the parts that it had made by then.
    """

    mount_id: int
    begin_us: int
    station_id: int
    assembly_id: int
    end_us: int | None
    reason: str | None
    flank_wear_tenths_um: int | None
    broken_us: int | None = None
    removal_id: int | None = None
    sure_parts: int | None = None

    @property
    def worn_until_us(self) -> int | None:
        """Until when the edge was worn; None while it is."""
        return self.broken_us if self.end_us is None else self.end_us


class SizeStep(NamedTuple):
    """A size correction of X: when, and the sum of all in that stay up to it."""

    at_us: int
    sum_tenths_um: int


@dataclass(frozen=True, slots=True)
class MachineRows:
    """What is one machine's.

    Attributes:
        stays: Every stay in its stations so far, in order of time.
        size_corrections: Steps of each stay in order, by mount id.
        runs: Its runs in order of time, those without a start last.
    """

    stays: tuple[StayRow, ...] = ()
    size_corrections: Mapping[int, tuple[SizeStep, ...]] = field(default_factory=dict)
    runs: tuple[RunOfShop, ...] = ()


class _SizeChange(NamedTuple):
    """A size correction of X as it was recorded."""

    mount_id: int
    station_id: int
    at: int
    change_tenths_um: int


def load_machine(tx: Tx, as_of_us: int, machine_id: int) -> MachineRows:
    """Read what is one machine's.

    Args:
        tx: An open transaction.
        as_of_us: Facts dated later are not seen [µs].
        machine_id: The machine.
    """
    values = {"as_of": as_of_us, "machine": machine_id}
    stays = rows_by_name(StayRow, tx.exec_driver_sql(_stays(_OF_MACHINE), values))
    changes = rows_by_name(
        _SizeChange, tx.exec_driver_sql(_size_corrections(_OF_MACHINE), values)
    )
    return MachineRows(tuple(stays), _steps(changes), load_runs_of(tx, machine_id))


def load_machines_whole(tx: Tx, as_of_us: int) -> dict[int, MachineRows]:
    """Read what is each machine's, by machine id in ascending order, retired ones among them.

    What lies in a station that is on no record is under ``NO_MACHINE``.

    Args:
        tx: An open transaction.
        as_of_us: Facts dated later are not seen [µs].
    """
    values = {"as_of": as_of_us}
    found = tx.exec_driver_sql("SELECT id, machine_id FROM stations")
    seats = {row.id: row.machine_id for row in found if isinstance(row.machine_id, int)}
    stays: dict[int, list[StayRow]] = defaultdict(list)
    for stay in rows_by_name(StayRow, tx.exec_driver_sql(_stays("true"), values)):
        stays[seats.get(stay.station_id, NO_MACHINE)].append(stay)
    changes: dict[int, list[_SizeChange]] = defaultdict(list)
    corrected = tx.exec_driver_sql(_size_corrections("true"), values)
    for change in rows_by_name(_SizeChange, corrected):
        changes[seats.get(change.station_id, NO_MACHINE)].append(change)
    runs = load_runs(tx)
    return {
        machine_id: MachineRows(
            tuple(stays.get(machine_id, ())),
            _steps(changes.get(machine_id, ())),
            tuple(runs.get(machine_id, ())),
        )
        for machine_id in sorted({*stays, *changes, *runs})
    }


def _steps(changes: Iterable[_SizeChange]) -> dict[int, tuple[SizeStep, ...]]:
    steps: dict[int, list[SizeStep]] = defaultdict(list)
    for row in changes:
        of_stay = steps[row.mount_id]
        before = of_stay[-1].sum_tenths_um if of_stay else 0
        of_stay.append(SizeStep(row.at, before + row.change_tenths_um))
    return {mount_id: tuple(of_stay) for mount_id, of_stay in steps.items()}
