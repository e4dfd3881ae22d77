"""The kit sheet: what a changeover keeps, pulls, builds and returns, and how long it takes."""

from __future__ import annotations

from dataclasses import dataclass

from crib.sentence import sentence, together
from labels.boxes import Laid
from labels.swap_sheet import CAUTIONS
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

KIT_SHEET = sentence("Changeover kit")


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
        minutes: How long the bench works and the machine stands, as text.
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
    minutes: str = ""
    problems: tuple[str, ...] = ()
    run: str = ""
    made_at: str = ""
    site: str = ""
    cautions: tuple[str, ...] = CAUTIONS


def _columns(place: str) -> tuple[Column, ...]:
    return (
        Column(DONE, 0.8),
        Column(sentence("station"), 1.4),
        Column(sentence("tool no."), 1.2),
        Column(sentence("spec"), 3.4),
        Column(sentence("assembly"), 1.6),
        Column(sentence("holder"), 1.9),
        Column(sentence("cutting item"), 2.0),
        Column(place, 6.2),
        Column(sentence("minutes"), 1.2, right=True),
    )


def lay_out_kit_sheet(sheet: KitSheet, paper: str = "A4", say: Say = str) -> list[Laid]:
    """Lay a kit sheet out on pages that lie on their long side.

    Args:
        sheet: What it says.
        paper: ``A4`` or ``Letter``.
        say: Says its sentences in the language of the shop.

    Raises:
        Invalid: No such paper.
    """
    take, lies = sentence("take from"), sentence("lies in")
    many = [len(one) for one in (sheet.build, sheet.pull, sheet.keep, sheet.back)]
    tables = [
        _table(
            sentence("Build and preset ({number})", number=many[0]),
            sheet.build,
            sentence("Nothing to build."),
            take,
        ),
        _table(
            sentence("Pull from the rack ({number})", number=many[1]),
            sheet.pull,
            sentence("Nothing to pull."),
            take,
        ),
        _table(
            sentence("Keep in its station ({number})", number=many[2]),
            sheet.keep,
            sentence("Nothing stays."),
            lies,
        ),
        _table(
            sentence("Return to the toolroom ({number})", number=many[3]),
            sheet.back,
            sentence("Nothing goes back."),
            sentence("back to"),
        ),
    ]
    if sheet.problems:
        tables.insert(0, left_out_table(sheet.problems))
    facts = [sentence("{machine}: {part}", machine=sheet.machine, part=sheet.part)]
    if sheet.run:
        facts.append(sentence("run {run}", run=sheet.run))
    if sheet.start_at:
        facts.append(sentence("starts {at}", at=sheet.start_at))
    times = [sheet.minutes] if sheet.minutes else []
    if sheet.made_at:
        times.append(sentence("made {at}", at=sheet.made_at))
    report = Report(
        KIT_SHEET,
        sheet.site,
        (together(", ", facts), together(", ", times)),
        tuple(tables),
        sheet.cautions,
    )
    return lay_out_report(report, paper, say=say, most_pages=1)


def _table(heading: str, lines: tuple[KitLine, ...], empty: str, place: str) -> Table:
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
            ),
            note=line.note,
        )
        for line in lines
    )
    return Table(heading, _columns(place), rows, empty)
