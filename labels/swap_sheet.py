"""The shift sheet: what to swap, what to preset, in the order to do it."""

from __future__ import annotations

from dataclasses import dataclass

from labels.boxes import Laid
from labels.table import Column, Report, Table, TableRow, lay_out_report, left_out_table

#: Common practice, no source; they support people and replace no manual, rule or judgement.
CAUTIONS = (
    "Stop the spindle and wait until it stands still before reaching in; isolate the machine "
    "before work that needs it. Edges cut skin, worn ones too: gloves for handling, never near "
    "a turning spindle. Eye protection. Coolant, chips and the work may be hot.",
    "After a swap prove the offset: single block, reduced rapid, hand near feed hold; then "
    "measure the first-off. Never exceed the lowest speed limit of tool, holder, unit and "
    "station.",
    "A forecast is a probability, not a promise: an edge can fail at any time, and unattended "
    "running needs its own means to detect breakage. The machine's manual, site rules, local "
    "codes and qualified people come first.",
)


@dataclass(frozen=True, slots=True)
class SwapRow:
    """One mounted assembly to be swapped; all text, instants in the site's time zone."""

    machine: str
    station: str
    tool_number: str = ""
    assembly: str = ""
    spec: str = ""
    swap_by: str = ""
    parts_left: str = ""
    swap_after_parts: str = ""
    why: str = ""
    sister_state: str = ""
    sister: str = ""
    missing: str = ""
    late: bool = False


@dataclass(frozen=True, slots=True)
class BenchRow:
    """One job for the presetter's bench; all text."""

    spec: str
    start: str = ""
    finish: str = ""
    needed_by: str = ""
    work: str = ""
    assembly: str = ""
    holder: str = ""
    machine: str = ""
    station: str = ""
    missing: str = ""
    late: bool = False


@dataclass(frozen=True, slots=True)
class NightRow:
    """What to do with a machine's night, or a swap to make before it; all text."""

    machine: str
    what: str
    minutes: str = ""
    sister: str = ""
    place: str = ""
    swap: bool = False


@dataclass(frozen=True, slots=True)
class ShiftSheet:
    """The shift's swap list and bench queue.

    Attributes:
        made_at: When the lists were made, as text.
        horizon: The stretch they look ahead, as text.
        swaps: Most urgent first.
        bench: In the order to do it.
        site: The shop's name.
        note: A line of the supervisor's own.
        nights: What to do tonight, machine by machine, each with its swaps.
        problems: What it is made without, and what to do; they head the sheet.
        cautions: In the foot of every page.
    """

    made_at: str
    horizon: str
    swaps: tuple[SwapRow, ...]
    bench: tuple[BenchRow, ...]
    site: str = ""
    note: str = ""
    nights: tuple[NightRow, ...] = ()
    problems: tuple[str, ...] = ()
    cautions: tuple[str, ...] = CAUTIONS


_SWAP_COLUMNS = (
    Column("done", 0.8),
    Column("swap by", 2.2),
    Column("machine", 2.2),
    Column("station", 1.9),
    Column("tool", 1.3),
    Column("takes out", 1.8),
    Column("spec", 2.6),
    Column("parts left", 1.9, right=True),
    Column("swap after parts", 1.6, right=True),
    Column("why", 4.0),
    Column("sister", 1.9),
    Column("state", 1.7),
    Column("missing", 3.2),
)
_NIGHT_COLUMNS = (
    Column("done", 0.8),
    Column("machine", 2.2),
    Column("tonight", 14.0),
    Column("min", 1.0, right=True),
    Column("sister", 2.6),
    Column("lies in", 4.0),
)
_BENCH_COLUMNS = (
    Column("done", 0.8),
    Column("no.", 0.7, right=True),
    Column("start", 2.1),
    Column("finish", 2.1),
    Column("needed by", 2.1),
    Column("work", 2.6),
    Column("spec", 3.2),
    Column("assembly", 1.9),
    Column("holder", 1.8),
    Column("for", 3.2),
    Column("late or missing", 4.4),
)
_BOX = "☐"


def lay_out_shift_sheet(sheet: ShiftSheet, paper: str = "A4") -> list[Laid]:
    """Lay a shift sheet out on pages that lie on their long side.

    Raises:
        Invalid: No such paper.
    """
    swaps = tuple(
        TableRow(
            (
                _BOX,
                _late(row.swap_by, row.late),
                row.machine,
                row.station,
                row.tool_number,
                row.assembly,
                row.spec,
                row.parts_left,
                row.swap_after_parts,
                row.why,
                row.sister,
                row.sister_state,
                row.missing,
            ),
            strong=row.late,
        )
        for row in sheet.swaps
    )
    bench = tuple(
        TableRow(
            (
                _BOX,
                str(number),
                row.start,
                row.finish,
                row.needed_by,
                row.work,
                row.spec,
                row.assembly,
                row.holder,
                f"{row.machine} {row.station}",
                _late(row.missing, row.late),
            ),
            strong=row.late,
        )
        for number, row in enumerate(sheet.bench, start=1)
    )
    report = Report(
        "Shift sheet",
        sheet.site,
        tuple(line for line in (f"{sheet.horizon}, made {sheet.made_at}", sheet.note) if line),
        (
            *([left_out_table(sheet.problems)] if sheet.problems else []),
            *([_tonight(sheet.nights)] if sheet.nights else []),
            Table("Swap list", _SWAP_COLUMNS, swaps, "Nothing is due."),
            Table("Bench queue", _BENCH_COLUMNS, bench, "Nothing to preset."),
        ),
        sheet.cautions,
    )
    return lay_out_report(report, paper, landscape=True)


def _tonight(nights: tuple[NightRow, ...]) -> Table:
    rows = (
        TableRow(
            (
                _BOX if row.swap else "",
                row.machine,
                row.what,
                row.minutes,
                row.sister,
                row.place,
            ),
            strong=not row.swap,
        )
        for row in nights
    )
    return Table("Tonight", _NIGHT_COLUMNS, tuple(rows), "")


def _late(text: str, late: bool) -> str:
    return f"LATE {text}".strip() if late else text
