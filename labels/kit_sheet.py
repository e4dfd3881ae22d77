"""The kit sheet: what a changeover keeps, pulls, builds and returns, and how long it takes."""

from __future__ import annotations

from dataclasses import dataclass

from labels.boxes import Laid
from labels.swap_sheet import CAUTIONS
from labels.table import Column, Report, Table, TableRow, lay_out_report, left_out_table


@dataclass(frozen=True, slots=True)
class KitLine:
    """One tool of a changeover; all text."""

    station: str = ""
    tool_number: str = ""
    spec: str = ""
    assembly: str = ""
    holder: str = ""
    item: str = ""
    location: str = ""
    minutes: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class KitSheet:
    """A changeover's kit.

    Attributes:
        machine: The machine that changes over.
        part: What it is to make.
        start_at: When the run starts, as text.
        keep: Stays in its station.
        pull: To fetch from the rack.
        build: To build and preset.
        back: Comes out and goes back to the toolroom.
        minutes: Kinds of work with their minutes, as text, the sum last.
        problems: Tools left out, and what to do; printed at the top.
        run: The run's name.
        made_at: When the sheet was made, as text.
        site: The shop's name.
        cautions: In the foot of every page.
    """

    machine: str
    part: str
    start_at: str
    keep: tuple[KitLine, ...]
    pull: tuple[KitLine, ...]
    build: tuple[KitLine, ...]
    back: tuple[KitLine, ...]
    minutes: tuple[tuple[str, str], ...] = ()
    problems: tuple[str, ...] = ()
    run: str = ""
    made_at: str = ""
    site: str = ""
    cautions: tuple[str, ...] = CAUTIONS


_COLUMNS = (
    Column("done", 0.8),
    Column("station", 1.9),
    Column("tool", 1.2),
    Column("spec", 2.8),
    Column("assembly", 1.8),
    Column("holder", 1.8),
    Column("cutting item", 2.4),
    Column("where", 1.8),
    Column("minutes", 1.3, right=True),
    Column("note", 3.4),
)


def lay_out_kit_sheet(sheet: KitSheet, paper: str = "A4") -> list[Laid]:
    """Lay a kit sheet out on pages that lie on their long side.

    Raises:
        Invalid: No such paper.
    """
    minutes = tuple(TableRow((name, value)) for name, value in sheet.minutes)
    tables = [
        _table("Build and preset", sheet.build, "Nothing to build."),
        _table("Pull from the rack", sheet.pull, "Nothing to pull."),
        _table("Keep in its station", sheet.keep, "Nothing stays."),
        _table("Return to the toolroom", sheet.back, "Nothing goes back."),
    ]
    if sheet.problems:
        tables.insert(0, left_out_table(sheet.problems))
    if minutes:
        columns = (Column("work", 3.0), Column("minutes", 1.0, right=True), Column("", 8.0))
        padded = tuple(TableRow((*row.cells, "")) for row in minutes)
        tables.append(Table("Minutes", columns, padded, ""))
    made = f"made {sheet.made_at}" if sheet.made_at else ""
    facts = (f"{sheet.machine}: {sheet.part}", f"run {sheet.run}" if sheet.run else "")
    starts = f"starts {sheet.start_at}" if sheet.start_at else ""
    report = Report(
        "Changeover kit",
        sheet.site,
        (
            ", ".join(fact for fact in facts if fact),
            ", ".join(fact for fact in (starts, made) if fact),
        ),
        tuple(tables),
        sheet.cautions,
    )
    return lay_out_report(report, paper, landscape=True)


def _table(heading: str, lines: tuple[KitLine, ...], empty: str) -> Table:
    rows = tuple(
        TableRow(
            (
                "☐",
                line.station,
                line.tool_number,
                line.spec,
                line.assembly,
                line.holder,
                line.item,
                line.location,
                line.minutes,
                line.note,
            )
        )
        for line in lines
    )
    return Table(f"{heading} ({len(lines)})", _COLUMNS, rows, empty)
