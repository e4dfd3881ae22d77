"""Read-only lists of facts: flat rows, a page at a time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from crib.errors import Invalid
from crib.store.engine import Tx
from crib.store.fact_lists import fact_rows
from crib.usecases.query_shapes import (
    AssemblyListed,
    CorrectionListed,
    CountBatchListed,
    GaugeCheckListed,
    MountListed,
    Page,
    PresetListed,
    RefusedCountListed,
    RemovalListed,
    Row,
    StockMoveListed,
    StopListed,
    TeardownListed,
)

#: Longest page.
MOST_ROWS = 1_000


def list_assemblies(
    tx: Tx,
    *,
    tool_spec_id: int | None = None,
    holder_id: int | None = None,
    machine_id: int | None = None,
    lot_id: int | None = None,
    cutter_status: str | None = None,
    open_only: bool = False,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[AssemblyListed]:
    """Tools that were built, with what each is now; ``open_only`` leaves out those over."""
    filters = {
        "tool_spec_id": tool_spec_id,
        "holder_id": holder_id,
        "machine_id": machine_id,
        "lot_id": lot_id,
        "cutter_status": cutter_status,
    }
    return _page(
        tx, "assemblies", AssemblyListed, filters, as_of, after_id, limit, open_only=open_only
    )


def list_presets(
    tx: Tx,
    *,
    assembly_id: int | None = None,
    gauge_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[PresetListed]:
    """Presets, accepted or not."""
    filters = {"assembly_id": assembly_id, "gauge_id": gauge_id}
    return _page(tx, "presets", PresetListed, filters, as_of, after_id, limit)


def list_mounts(
    tx: Tx,
    *,
    assembly_id: int | None = None,
    station_id: int | None = None,
    machine_id: int | None = None,
    open_only: bool = False,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[MountListed]:
    """Stays in stations; ``open_only`` leaves out those that are over."""
    filters = _stay_filters(assembly_id, station_id, machine_id)
    return _page(
        tx, "mounts", MountListed, filters, as_of, after_id, limit, open_only=open_only
    )


def list_removals(
    tx: Tx,
    *,
    assembly_id: int | None = None,
    station_id: int | None = None,
    machine_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[RemovalListed]:
    """Removals."""
    filters = _stay_filters(assembly_id, station_id, machine_id)
    return _page(tx, "removals", RemovalListed, filters, as_of, after_id, limit)


def list_corrections(
    tx: Tx,
    *,
    assembly_id: int | None = None,
    station_id: int | None = None,
    machine_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[CorrectionListed]:
    """Offset steps."""
    filters = _stay_filters(assembly_id, station_id, machine_id)
    return _page(tx, "corrections", CorrectionListed, filters, as_of, after_id, limit)


def list_teardowns(
    tx: Tx,
    *,
    assembly_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[TeardownListed]:
    """Tools that were taken apart."""
    filters = {"assembly_id": assembly_id}
    return _page(tx, "teardowns", TeardownListed, filters, as_of, after_id, limit)


def list_stock_moves(
    tx: Tx,
    *,
    lot_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[StockMoveListed]:
    """The ledger: every move, builds and moves taken back among them."""
    filters = {"lot_id": lot_id}
    return _page(tx, "stock_moves", StockMoveListed, filters, as_of, after_id, limit)


def list_gauge_checks(
    tx: Tx,
    *,
    gauge_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[GaugeCheckListed]:
    """Checks of gauges on their masters."""
    filters = {"gauge_id": gauge_id}
    return _page(tx, "gauge_checks", GaugeCheckListed, filters, as_of, after_id, limit)


def list_stops(
    tx: Tx,
    *,
    machine_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[StopListed]:
    """Stops of machines."""
    filters = {"machine_id": machine_id}
    return _page(tx, "stops", StopListed, filters, as_of, after_id, limit)


def list_count_batches(
    tx: Tx,
    *,
    machine_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[CountBatchListed]:
    """Batches of counter readings."""
    filters = {"machine_id": machine_id}
    return _page(tx, "count_batches", CountBatchListed, filters, as_of, after_id, limit)


def list_refused_counts(
    tx: Tx,
    *,
    machine_id: int | None = None,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[RefusedCountListed]:
    """Counter readings that are kept aside."""
    filters = {"machine_id": machine_id}
    return _page(tx, "refused_counts", RefusedCountListed, filters, as_of, after_id, limit)


def _stay_filters(
    assembly_id: int | None, station_id: int | None, machine_id: int | None
) -> dict[str, object]:
    return {"assembly_id": assembly_id, "station_id": station_id, "machine_id": machine_id}


def _page(
    tx: Tx,
    kind: str,
    row_type: type[Row],
    filters: Mapping[str, object],
    as_of: datetime | None,
    after_id: int,
    limit: int,
    *,
    open_only: bool = False,
) -> Page[Row]:
    if not 1 <= limit <= MOST_ROWS:
        raise Invalid(
            f"A page of {limit} rows cannot be: ask for 1 to {MOST_ROWS}.",
            errors=[{"field": "limit", "detail": f"from 1 to {MOST_ROWS}"}],
        )
    given = {name: value for name, value in filters.items() if value is not None}
    found = fact_rows(
        tx,
        kind,
        given,
        open_only=open_only,
        as_of=as_of,
        after_id=after_id,
        limit=limit + 1,
    )
    rows = tuple(row_type(*row) for row in found[:limit])
    return Page(rows, int(found[limit - 1][0]) if len(found) > limit else None)
