"""What rows must hold together: keys once, references that exist, hours that do not overlap."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from crib.records.catalogue import BY_NAME, RUNS, WEEKDAYS
from crib.records.columns import Column, Record
from crib.records.values import print_cell
from crib.shopfiles.errors import Problems, RowError, nearest
from crib.shopfiles.reading import Row

_DAY = 24 * 60
_WEEK = 7 * _DAY
_SUGGEST_AMONG = 1_000  # looking for the nearest name is slow in a longer list

#: Holder types whose inserts may have a sharp corner, by words in their kind.
_NOT_TURNING = ("mill", "drill", "live", "saw", "tap", "ream")

#: Names of a record that the shop has already, each with its ``kind`` where it has one.
Elsewhere = Callable[[str], Mapping[str, object]]


class FolderCheck:
    """Checks across the rows of a folder; feed it file after file in catalogue order.

    Only names and lines are kept, no rows.

    Args:
        problems: Takes what is wrong.
        elsewhere: What the database holds already, by record name.
    """

    def __init__(self, problems: Problems, elsewhere: Elsewhere) -> None:
        self._problems = problems
        self._elsewhere = elsewhere
        self._names: dict[str, dict[object, object]] = {}
        self._unsure: set[str] = set()
        self._file = ""
        self._record: Record | None = None
        self._lines: dict[object, int] = {}
        self._references: list[Column] = []
        self._running: dict[object, int] = {}
        self._hours: dict[object, list[tuple[int, int, Row]]] = {}
        self._zones: dict[object, tuple[object, int]] = {}

    def start(self, record: Record, path: Path) -> None:
        """Begin a file."""
        self._file = path.name
        self._record = record
        self._lines = {}
        # a calendar is made by its rows; every other record must be there first
        self._references = [
            column
            for column in record.columns
            if column.reference
            and not (
                column.reference == record.owner and BY_NAME[column.reference].file is None
            )
        ]
        name = (
            record.owner if record.owner and not self._owner_is_filed(record) else record.name
        )
        self._names.setdefault(name, {})

    def finish(self, *, complete: bool) -> None:
        """End a file; ``complete`` says whether every row of it was seen."""
        record = self._begun()
        if not complete:
            self._unsure.add(record.name)
            if record.owner:
                self._unsure.add(record.owner)
        if record.name == "calendar_spans":
            for spans in self._hours.values():
                self._check_overlap(spans)

    def line_of(self, values: Mapping[str, object]) -> int | None:
        """Line of the row of that key in the file begun last; None where it has none."""
        parts = tuple(values[name] for name in self._begun().key)
        return self._lines.get(parts[0] if len(parts) == 1 else parts)

    def first_parts(self) -> set[object]:
        """First parts of the keys of the file begun last: the owners of its rows."""
        return {key[0] if isinstance(key, tuple) else key for key in self._lines}

    def row(self, row: Row) -> bool:
        """Check one row; True when nothing about it is wrong."""
        record = self._begun()
        before = self._problems.count
        self._note_name(record, row)
        for column in self._references:
            if row.values.get(column.name) is not None:
                self._check_reference(column, row)
        if record.name == "calendar_spans":
            self._note_hours(row)
        elif record.name == "runs":
            self._check_running(row)
        elif record.name == "tool_specs":
            self._check_nose(row)
        return row.whole and self._problems.count == before

    def _begun(self) -> Record:
        if self._record is None:
            raise RuntimeError("no file was begun")
        return self._record

    @staticmethod
    def _owner_is_filed(record: Record) -> bool:
        return bool(record.owner and BY_NAME[record.owner].file)

    def _note_name(self, record: Record, row: Row) -> None:
        if any(name not in row.values for name in record.key):
            return
        parts = tuple(row.values[name] for name in record.key)
        key: object = parts[0] if len(parts) == 1 else parts
        earlier = self._lines.setdefault(key, row.line)
        if earlier != row.line:
            cells = (
                print_cell(record.column(name), value) or "(empty)"
                for name, value in zip(record.key, parts, strict=True)
            )
            self._report(
                row, record.key[-1], " ".join(cells),
                f"stands in line {earlier} already",
                f"keep one row per {record.noun}"
                + (", or give a repeat order its own start_at" if record is RUNS else ""),
            )  # fmt: skip
        if len(parts) == 1:
            self._names[record.name][key] = row.values.get("kind")
        elif record.owner and not self._owner_is_filed(record):
            self._names[record.owner][parts[0]] = None

    def _check_reference(self, column: Column, row: Row) -> None:
        target = column.reference or ""
        if target in self._unsure:
            return
        value = row.values[column.name]
        here = self._names.get(target, {})
        for name in value if isinstance(value, tuple) else (value,):
            if name in here or name in self._elsewhere(target):
                continue
            file = BY_NAME[target].file or "calendars.csv"
            near = self._nearest_name(target, str(name))
            self._report(
                row, column.name, str(name),
                f"is no {BY_NAME[target].noun} of this folder or of the database",
                f"perhaps {near} is meant" if near else f"add it to {file}",
            )  # fmt: skip

    def _nearest_name(self, target: str, name: str) -> str | None:
        here, elsewhere = self._names.get(target, {}), self._elsewhere(target)
        if self._problems.unlisted or max(len(here), len(elsewhere)) > _SUGGEST_AMONG:
            return None
        return nearest(name, {str(one) for one in (*here, *elsewhere)})

    def _kind_of(self, record: str, name: object) -> object:
        here = self._names.get(record, {})
        return here[name] if name in here else self._elsewhere(record).get(str(name))

    def _check_nose(self, row: Row) -> None:
        """A turning insert with a corner of no radius would give offsets that cut air."""
        items = row.values.get("cutting_items")
        if row.values.get("nose_radius_mm") != 0 or not isinstance(items, tuple):
            return
        holder = str(self._kind_of("holder_types", row.values.get("holder_type")) or "").lower()
        if any(word in holder for word in _NOT_TURNING):
            return
        if any(self._kind_of("cutting_items", item) == "insert" for item in items):
            self._report(
                row, "nose_radius_mm", "0",
                "is no nose radius of a turning insert",
                "write the radius in mm, or leave the cell empty",
            )  # fmt: skip

    def _check_running(self, row: Row) -> None:
        if row.values.get("state") != "running" or "machine" not in row.values:
            return
        machine = row.values["machine"]
        earlier = self._running.setdefault(machine, row.line)
        if earlier != row.line:
            self._report(
                row, "state", "running",
                f"is said of {machine} in line {earlier} already",
                "a machine makes one part at a time: plan the other run or call it done",
            )  # fmt: skip

    def _note_hours(self, row: Row) -> None:
        calendar = row.values.get("calendar")
        if "time_zone" in row.values and calendar is not None:
            zone = row.values["time_zone"]
            first, line = self._zones.setdefault(calendar, (zone, row.line))
            if zone != first:
                self._report(
                    row, "time_zone", None if zone is None else str(zone),
                    f"is not the {first or '(empty)'} that {calendar} has in line {line}",
                    "write the same zone on every row of a calendar",
                )  # fmt: skip
        if not row.whole:
            return
        start, end = row.values["start"], row.values["end"]
        if not isinstance(start, int) or not isinstance(end, int):
            return
        begins = WEEKDAYS.index(str(row.values["weekday"])) * _DAY + start
        minutes = end - start if end > start else end - start + _DAY
        self._hours.setdefault(calendar, []).append((begins, begins + minutes, row))

    def _check_overlap(self, spans: list[tuple[int, int, Row]]) -> None:
        """Hours of one calendar, the week being a circle."""
        spans.sort(key=lambda span: span[0])
        _, reach, last = spans[-1]
        reach -= _WEEK  # Sunday night may run into Monday
        for begins, ends, row in spans:
            if begins < reach and last is not row:
                start = print_cell(self._begun().column("start"), row.values["start"])
                self._report(
                    row, "start", start,
                    f"lies inside the hours of line {last.line}",
                    "let hours of one calendar follow each other",
                )  # fmt: skip
            if ends > reach:
                reach, last = ends, row

    def _report(
        self, row: Row, column: str, value: str | None, reason: str, right: str
    ) -> None:
        self._problems.add(RowError(self._file, row.line, column, value, reason, right))
