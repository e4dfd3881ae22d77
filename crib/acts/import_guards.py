"""What a shop file may not change any more, because recorded facts rest on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache

from crib.clock import print_instant
from crib.records.catalogue import RUNS
from crib.records.columns import Record
from crib.records.rules import Problem
from crib.store import import_rows
from crib.store.engine import Tx
from crib.store.records import list_records

Values = Mapping[str, object]


class FactGuard:
    """Compares rows of shop files with the facts of the database, read once at first need."""

    def __init__(self, tx: Tx) -> None:
        self._tx = tx
        self._used_items = cache(lambda: import_rows.used_items(tx))
        self._opened_lots = cache(lambda: import_rows.opened_lots(tx))
        self._taken = cache(lambda: import_rows.taken_of_lots(tx))
        self._built_holders = cache(lambda: import_rows.built_holders(tx))
        self._built_specs = cache(lambda: import_rows.built_specs(tx))
        self._guards: dict[str, Callable[[Values], Iterator[Problem]]] = {
            "cutting_items": self._cutting_item,
            "lots": self._lot,
            "holders": self._holder,
            "tool_specs": self._tool_spec,
        }

    def problems_of(self, record: Record, values: Values) -> list[Problem]:
        """Every way in which a row contradicts what was recorded."""
        guard = self._guards.get(record.name)
        return list(guard(values)) if guard else []

    def _cutting_item(self, values: Values) -> Iterator[Problem]:
        used = self._used_items().get(str(values["cutting_item"]))
        if used is None:
            return
        kind, edge, grinds = used
        if values.get("kind", kind) != kind:
            yield Problem(
                "kind",
                f"is not {kind}, as when its edges were used",
                "give the new kind a name",
            )
        yield from _at_least(values, "edges", edge, f"edge {edge} was used")
        yield from _at_least(values, "regrinds", grinds, f"a piece is at regrind {grinds}")

    def _lot(self, values: Values) -> Iterator[Problem]:
        lot = str(values["lot"])
        taken = self._taken().get(lot, 0)
        yield from _at_least(values, "quantity", taken, f"{taken} were taken from it")
        item = self._opened_lots().get(lot)
        if item is not None and values.get("cutting_item", item) != item:
            yield Problem(
                "cutting_item",
                f"is not {item}, which was built out of this lot",
                "give the other item a lot of its own",
            )

    def _holder(self, values: Values) -> Iterator[Problem]:
        yield from _same_type(
            values, self._built_holders().get(str(values["holder"])), "the holder is built"
        )

    def _tool_spec(self, values: Values) -> Iterator[Problem]:
        yield from _same_type(
            values, self._built_specs().get(str(values["tool_spec"])), "tools are built to it"
        )

    def other_running(self, machine: str, values: Values) -> str | None:
        """Which other run the database has running on a machine, in words."""
        for run in list_records(
            self._tx, RUNS, filters={"machine": machine, "state": "running"}
        ):
            start_at = run["start_at"]
            if run["part"] != values["part"] or start_at != values.get("start_at"):
                since = f" since {print_instant(start_at)}" if start_at else ""
                return f"{run['part']}{since}"
        return None


def _at_least(values: Values, column: str, least: int, because: str) -> Iterator[Problem]:
    value = values.get(column)
    if isinstance(value, int) and value < least:
        yield Problem(column, f"is too few: {because}", f"write at least {least}")


def _same_type(values: Values, built_as: str | None, because: str) -> Iterator[Problem]:
    if built_as is not None and values.get("holder_type", built_as) != built_as:
        yield Problem(
            "holder_type",
            f"is not {built_as}, and {because}",
            f"leave {built_as}, or take the tools apart first",
        )
