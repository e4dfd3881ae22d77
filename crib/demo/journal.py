"""What people and machines of the demo record, in order of time, through the use cases."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.check_gauge import CheckGauge, check_gauge_on_master
from crib.acts.correct_offset import CorrectOffset, correct_offset
from crib.acts.mount_tool import MountTool, mount_tool
from crib.acts.move_stock import MoveStock, Regrind, move_stock, regrind
from crib.acts.preset_tool import PresetTool, preset_tool
from crib.acts.print_label import PrintLabel, print_label
from crib.acts.put_in_rack import PutInRack, put_in_rack
from crib.acts.remove_tool import RemoveTool, remove_tool
from crib.acts.report_counts import CountsReported, ReportCounts, report_counts
from crib.acts.report_stop import ReportStop, report_stop
from crib.acts.tear_down import TearDown, tear_down
from crib.demo.first_offs import FirstOff, first_off
from crib.errors import Refusal
from crib.records.catalogue import HOLDERS, RUNS
from crib.store.engine import Tx
from crib.store.records import get_record, insert_record, list_records, update_record
from crib.store.savepoint import BrokenConstraint, savepoint


@dataclass(frozen=True, slots=True)
class PlanRun:
    """A run is planned; ``number`` is how the demo calls it."""

    number: int
    machine: str
    part: str
    quantity: int
    start_at: datetime


@dataclass(frozen=True, slots=True)
class ChangeRun:
    """A run starts or ends."""

    number: int
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class ChangeHolder:
    """A holder is lent, comes back, goes to repair."""

    holder: str
    condition: str


class Entry(NamedTuple):
    """One entry: when it happened, when it is recorded, whether it should be refused."""

    at: datetime
    said_at: datetime
    command: Any
    refused: bool


_FACTS: dict[type, Callable[[Tx, datetime, Any], Any]] = {
    BuildAssembly: build_assembly,
    PresetTool: preset_tool,
    PrintLabel: print_label,
    PutInRack: put_in_rack,
    MountTool: mount_tool,
    RemoveTool: remove_tool,
    CorrectOffset: correct_offset,
    FirstOff: first_off,
    ReportCounts: report_counts,
    ReportStop: report_stop,
    CheckGauge: check_gauge_on_master,
    MoveStock: move_stock,
    Regrind: regrind,
    TearDown: tear_down,
}


class Journal:
    """Collects entries until they are written.

    Attributes:
        refusals: How many attempts were refused as they should be.
        repeats: How many counter readings came again.
    """

    def __init__(self) -> None:
        self.refusals = 0
        self.repeats = 0
        self._entries: list[Entry] = []
        self._runs: dict[int, int] = {}
        self._holders: dict[str, int] = {}

    def say(
        self,
        at: datetime,
        command: Any,
        *,
        said_at: datetime | None = None,
        refused: bool = False,
    ) -> None:
        """Add something that happened at an instant, recorded then or later."""
        self._entries.append(Entry(at, said_at or at, command, refused))

    def write(self, tx: Tx) -> int:
        """Run all entries so far through the use cases, in order.

        Returns:
            Number of entries.

        Raises:
            Refusal: A use case refused a right entry, or accepted a wrong one.
        """
        entries = self._taken()
        for entry in entries:
            if entry.refused:
                self._slip(tx, entry)
            else:
                self._put(tx, entry)
        return len(entries)

    def write_around(self, tx: Tx) -> tuple[int, list[str]]:
        """As ``write``, beside other people who record facts too: refused entries are left out.

        Returns:
            Number of entries written, and a sentence for each that was refused.
        """
        written, refused = 0, []
        for entry in self._taken():
            try:
                with savepoint(tx):
                    self._put(tx, entry)
                written += 1
            except (Refusal, BrokenConstraint) as problem:
                if entry.refused:
                    self.refusals += 1
                else:
                    refused.append(f"{type(entry.command).__name__}: {problem}")
        return written, refused

    def _taken(self) -> list[Entry]:
        entries = sorted(self._entries, key=lambda entry: entry.said_at)
        self._entries = []
        return entries

    def _slip(self, tx: Tx, entry: Entry) -> None:
        try:
            self._put(tx, entry)
        except Refusal:
            self.refusals += 1
        else:
            raise Refusal(f"The demo's slip went through: {entry.command}.")

    def _put(self, tx: Tx, entry: Entry) -> None:
        command = entry.command
        if isinstance(command, PlanRun):
            self._runs[command.number] = insert_record(
                tx,
                RUNS,
                {
                    "machine": command.machine,
                    "part": command.part,
                    "quantity": command.quantity,
                    "start_at": command.start_at,
                    "state": "planned",
                },
            )
        elif isinstance(command, ChangeRun):
            update_record(tx, RUNS, self._runs[command.number], command.values)
        elif isinstance(command, ChangeHolder):
            number = self._holder(tx, command.holder)
            if get_record(tx, HOLDERS, number)["condition"] != command.condition:
                update_record(tx, HOLDERS, number, {"condition": command.condition})
        else:
            done = _FACTS[type(command)](tx, entry.said_at, command)
            if isinstance(done, CountsReported):
                self.repeats += done.duplicates

    def _holder(self, tx: Tx, mark: str) -> int:
        if not self._holders:
            self._holders = {row["holder"]: row["id"] for row in list_records(tx, HOLDERS)}
        return self._holders[mark]
