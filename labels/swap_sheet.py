"""The shift sheet: what to swap, what to preset, in the order to do it."""

from __future__ import annotations

from dataclasses import dataclass

from crib.sentence import sentence, together
from labels.boxes import Laid
from labels.table import (
    DONE,
    Column,
    Report,
    Say,
    Table,
    TableRow,
    lay_out_report,
    left_out_table,
)

#: Common practice, no source; they support people and replace no manual, rule or judgement.
CAUTIONS = (
    sentence(
        "Stop the spindle and wait until it stands still before you reach in. Isolate the "
        "machine before work that needs it. Edges cut skin, worn ones too: gloves for "
        "handling, never near a turning spindle. Eye protection. Coolant, chips and the work "
        "may be hot."
    ),
    sentence(
        "After a swap prove the offset: single block, reduced rapid, hand near feed hold. Then "
        "measure the first-off. Never exceed the lowest speed limit of tool, holder, unit and "
        "station."
    ),
    sentence(
        "A forecast is a probability, not a promise: an edge can fail at any time. Unattended "
        "running needs its own means to detect breakage. The machine's manual, site rules, "
        "local codes and qualified people come first."
    ),
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
    place: str = ""


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
    place: str = ""


@dataclass(frozen=True, slots=True)
class NightRow:
    """What to do with a machine's night, or a swap to make before it; all text.

    Attributes:
        machine: The machine, empty for a swap.
        what: What to do.
        minutes: How long it takes.
        sister: What to mount.
        place: Where that lies.
        swap: Whether it is a swap.
        listed: Whether the swap list has it too: it is ticked off there, once.
    """

    machine: str
    what: str
    minutes: str = ""
    sister: str = ""
    place: str = ""
    swap: bool = False
    listed: bool = False


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
        machines: Those it is for: no more pages than that, if they fit; one is in the title.
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
    machines: tuple[str, ...] = ()
    cautions: tuple[str, ...] = CAUTIONS


_SWAP_COLUMNS = (
    Column(DONE, 1.1),
    Column(sentence("swap by"), 2.4),
    Column(sentence("machine"), 1.6),
    Column(sentence("station"), 1.4),
    Column(sentence("tool no."), 1.6),
    Column(sentence("take out"), 1.9),
    Column(sentence("spec"), 3.8),
    Column(sentence("parts left"), 1.6, right=True),
    Column(sentence("swap after parts"), 1.8, right=True),
    Column(sentence("sister"), 2.2),
    Column(sentence("state"), 1.5),
    Column(sentence("lies in"), 4.2),
)
_NIGHT_COLUMNS = (
    Column(DONE, 1.1),
    Column(sentence("machine"), 1.6),
    Column(sentence("what to do"), 11.4),
    Column(sentence("min"), 1.0, right=True),
    Column(sentence("sister"), 2.4),
    Column(sentence("lies in"), 5.5),
)
_BENCH_COLUMNS = (
    Column(DONE, 1.1),
    Column(sentence("no."), 0.6, right=True),
    Column(sentence("start"), 1.8),
    Column(sentence("ready at"), 1.8),
    Column(sentence("needed by"), 1.9),
    Column(sentence("work"), 2.6),
    Column(sentence("spec"), 3.6),
    Column(sentence("assembly"), 1.8),
    Column(sentence("holder"), 2.0),
    Column(sentence("for"), 1.8),
    Column(sentence("take from"), 5.2),
)
_BOX = "☐"
SHIFT_SHEET = sentence("Shift sheet")


def lay_out_shift_sheet(sheet: ShiftSheet, paper: str = "A4", say: Say = str) -> list[Laid]:
    """Lay a shift sheet out on pages that lie on their long side.

    Args:
        sheet: What it says.
        paper: ``A4`` or ``Letter``.
        say: Says its sentences in the language of the shop.

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
                row.sister,
                row.sister_state,
                row.place,
            ),
            strong=row.late,
            note=together(" ", (one for one in (row.why, row.missing) if one)),
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
                row.place,
            ),
            strong=row.late,
            note=_late(row.missing, row.late),
        )
        for number, row in enumerate(sheet.bench, start=1)
    )
    report = Report(
        _title(sheet),
        sheet.site,
        tuple(line for line in (_made(sheet), sheet.note) if line),
        (
            *([left_out_table(sheet.problems)] if sheet.problems else []),
            *([_tonight(sheet.nights)] if sheet.nights else []),
            Table(sentence("Swap list"), _SWAP_COLUMNS, swaps, sentence("Nothing is due.")),
            Table(
                sentence("Bench queue"), _BENCH_COLUMNS, bench, sentence("Nothing to preset.")
            ),
        ),
        sheet.cautions,
    )
    return lay_out_report(report, paper, say=say, most_pages=max(1, len(sheet.machines)))


def _tonight(nights: tuple[NightRow, ...]) -> Table:
    rows = (
        TableRow(
            (
                _ticked(row),
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
    return Table(sentence("Tonight"), _NIGHT_COLUMNS, tuple(rows), "")


def _ticked(row: NightRow) -> str:
    if not row.swap:
        return ""
    return sentence("below") if row.listed else _BOX


def _title(sheet: ShiftSheet) -> str:
    if len(sheet.machines) != 1:
        return SHIFT_SHEET
    return sentence("Shift sheet for {machine}", machine=sheet.machines[0])


def _made(sheet: ShiftSheet) -> str:
    return sentence("{horizon}, made {made_at}", horizon=sheet.horizon, made_at=sheet.made_at)


def _late(text: str, late: bool) -> str:
    if not late:
        return text
    return sentence("LATE: {text}", text=text) if text else sentence("LATE")
