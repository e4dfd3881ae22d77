"""What the printed lists say: the swap list, the bench queue and a kit as lines of text."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo

from babel.dates import format_skeleton

from api.language.catalogue import locale_of
from api.language.sentences import in_language
from crib.acts.question import Question
from crib.clock import comes_twice
from crib.left_out import or_instead
from crib.outlook.kits_ahead import RunKit
from crib.outlook.swap_rows import SwapList
from crib.outlook.swap_rows import SwapRow as PlannedSwap
from crib.planning.bench import QueueRow
from crib.planning.kits import KitLine as PlannedLine
from crib.planning.shelf import Missing
from crib.sentence import figure, sentence, together, word
from crib.store.night_rows import NightChoiceRow
from crib.views.decided_nights import decision_told
from crib.views.night_view import NightView
from crib.views.where_it_lies import Places
from labels.kit_sheet import KitLine, KitSheet
from labels.swap_sheet import BenchRow, NightRow, ShiftSheet, SwapRow


@dataclass(frozen=True, slots=True)
class Wording:
    """How a sheet is worded.

    Attributes:
        language: Language of the shop.
        zone: Zone of the site.
        now: When the sheet is made: times of that day go without it.
        places: Where things lie.
    """

    language: str
    zone: tzinfo
    now: datetime
    places: Places

    def say(self, text: str) -> str:
        """A sentence in the language of the shop, with the times of the site."""
        return in_language(self.language, text, self.local)

    def local(self, at: datetime | None) -> str:
        """The time of day at the site, with the day where it is not the sheet's.

        The zone's name follows in the hour that the clocks show twice.
        """
        if at is None:
            return ""
        there = at.astimezone(self.zone)
        clock = there.strftime("%H:%M %Z" if comes_twice(there) else "%H:%M")
        if there.date() == self.now.astimezone(self.zone).date():
            return clock
        return f"{format_skeleton('MMMEd', there, locale=locale_of(self.language))} {clock}"

    def whole(self, at: datetime) -> str:
        """Day with its year and time of day, for the head of a sheet."""
        there = at.astimezone(self.zone)
        day = format_skeleton("yMMMEd", there, locale=locale_of(self.language))
        return f"{day} {there.strftime('%H:%M %Z')}"

    def lies(self, assembly: str | None, holder: str | None, lot: str | None = None) -> str:
        """Where to take a tool from, or what to build it from; each thing where it is two."""
        found = [one for one in self.places.of(assembly, holder, lot) if one.place]
        if len(found) == 1:
            return self.say(found[0].place or "")
        return ", ".join(f"{one.thing}: {self.say(one.place or '')}" for one in found)


def _missing(missing: Sequence[Missing]) -> str:
    return together(" ", (one.sentence for one in missing))


def shift_sheet(
    found: SwapList,
    wording: Wording,
    hours: float,
    breakages: Sequence[Question] = (),
    problems: Sequence[str] = (),
    nights: Sequence[NightView] = (),
    decided: Sequence[NightChoiceRow] = (),
    machines: Collection[str] = (),
) -> ShiftSheet:
    """Tonight, the swap list and the bench queue as text; unclear breakages stand first.

    Args:
        found: The list.
        wording: How it is worded.
        hours: How far it looks [h].
        breakages: Unclear breakages.
        problems: What it is made without.
        nights: What to do tonight.
        decided: What was decided for a night.
        machines: What it is for: bench jobs for others are left out.
    """
    listed = {
        (row.forecast.machine, row.forecast.station) for row in found.rows if row.ordinal == 0
    }
    return ShiftSheet(
        made_at=wording.whole(wording.now),
        horizon=sentence(
            "the next {hours} hours, to {until}",
            hours=figure(hours, "g"),
            until=wording.local(found.until),
        ),
        swaps=(
            *(_broken(one, wording) for one in breakages),
            *(_swap_or_problem(row, wording) for row in found.rows),
        ),
        bench=tuple(
            _bench(job, swap, wording)
            for job, swap in zip(found.queue.rows, found.queue_rows, strict=True)
            if swap.forecast.machine in machines
        ),
        nights=tuple(row for one in nights for row in _night(one, wording, decided, listed)),
        problems=tuple(wording.say(one) for one in problems),
        machines=tuple(sorted(machines)),
    )


def _night(
    one: NightView,
    wording: Wording,
    decided: Sequence[NightChoiceRow],
    listed: Collection[tuple[str, str]],
) -> Iterator[NightRow]:
    """What was decided, the answer with its reason, then the swaps to make first."""
    told = (decision_told(decided, one), one.answer, one.reason)
    said = wording.say(together(" ", filter(None, told)))
    minutes = "" if one.minutes is None or not one.swaps else f"{one.minutes:g}"
    yield NightRow(one.night.machine, said, minutes)
    for swap in one.swaps:
        sister = swap.row.sister
        yield NightRow(
            machine="",
            what=sentence(
                "swap {station}, {spec}",
                station=swap.forecast.station,
                spec=swap.row.tool_spec,
            ),
            minutes="" if swap.minutes is None else f"{swap.minutes:g}",
            sister=sister.assembly or sister.holder or word(sister.state),
            place=wording.lies(sister.assembly, sister.holder, sister.lot),
            swap=True,
            listed=(swap.forecast.machine, swap.forecast.station) in listed,
        )


def _broken(one: Question, wording: Wording) -> SwapRow:
    return SwapRow(
        machine=one.machine,
        station="?",
        tool_number="" if one.tool_number is None else f"T{one.tool_number}",
        swap_by=wording.local(one.since),
        why=sentence(
            "'{says}' reported a broken tool, but not which one. Look, then answer.",
            says=one.says,
        ),
        late=True,
    )


def _bench(job: QueueRow, swap: PlannedSwap, wording: Wording) -> BenchRow:
    sister = swap.sister
    return BenchRow(
        spec=swap.tool_spec,
        start=wording.local(job.start_at),
        finish=wording.local(job.finish_at),
        needed_by=wording.local(job.job.due_at),
        work=sentence(
            "{work}, {minutes} min",
            work=word(job.job.work),
            minutes=figure(job.job.minutes, "g"),
        ),
        assembly=sister.assembly or "",
        holder=sister.holder or "",
        machine=swap.forecast.machine,
        station=swap.forecast.station,
        missing=wording.say(_missing(sister.missing)),
        late=job.late,
        place=wording.lies(sister.assembly, sister.holder, sister.lot),
    )


def _swap_or_problem(row: PlannedSwap, wording: Wording) -> SwapRow:
    """A swap as text; one whose text cannot be worked out stays on the sheet."""
    one = row.forecast
    why = sentence("What to do could not be worked out. Look at the edge and at the swap list.")
    return or_instead(
        lambda: _swap(row, wording),
        f"The swap of {one.machine}/{one.station} on the sheet: {why}",
        lambda: SwapRow(one.machine, one.station, f"T{one.tool_number}", why=why, late=True),
    )


def _swap(row: PlannedSwap, wording: Wording) -> SwapRow:
    one, sister = row.forecast, row.sister
    left = one.parts_left.get("p50") if row.ordinal == 0 else None
    by = wording.say(word("now")) if row.overdue_since else wording.local(row.swap_by)
    successor = sentence("successor {number}", number=row.ordinal)
    return SwapRow(
        machine=one.machine,
        station=one.station,
        tool_number=f"T{one.tool_number}",
        assembly=sentence("empty") if row.fills else row.takes_out or successor,
        spec=row.tool_spec,
        swap_by=sentence("ready by {at}", at=by) if row.standby else by,
        parts_left="" if left is None else str(left),
        swap_after_parts="" if row.swap_after_parts is None else str(row.swap_after_parts),
        why=wording.say(_why(row, wording)),
        sister_state=sentence("none needed") if row.removal else word(sister.state),
        sister=sister.assembly or sister.holder or "",
        missing=wording.say(_missing(sister.missing)),
        late=row.late,
        place=wording.lies(sister.assembly, sister.holder),
    )


def _why(row: PlannedSwap, wording: Wording) -> str:
    if not row.overdue_since:
        return row.why_sentence
    since = wording.local(row.overdue_since)
    overdue = sentence("Overdue since {since}.", since=since)
    return together(" ", (overdue, row.why_sentence))


def kit_sheet(found: RunKit, wording: Wording) -> KitSheet:
    """A changeover as text; what cannot be had stands under what is to be built."""
    kit = found.kit
    return KitSheet(
        machine=found.machine,
        part=sentence("{part}, {number} parts", part=found.part, number=found.quantity),
        start_at=wording.local(found.at),
        keep=tuple(_line_or_problem(line, wording) for line in (*kit.keep, *kit.idle)),
        pull=tuple(_line_or_problem(line, wording) for line in kit.pull),
        build=tuple(_line_or_problem(line, wording) for line in (*kit.build, *kit.blocked)),
        back=tuple(_back(line, wording) for line in kit.returned),
        minutes=sentence(
            "bench {bench} min before the changeover, machine stands {machine} min",
            bench=figure(kit.bench_minutes, "g"),
            machine=figure(kit.machine_minutes, "g"),
        ),
        problems=tuple(wording.say(one) for one in found.problems),
        run=str(found.run_id),
        made_at=wording.whole(wording.now),
    )


def _line_or_problem(line: PlannedLine, wording: Wording) -> KitLine:
    """A tool of a kit as text; one whose text cannot be made stays on the sheet."""
    why = sentence("What to do could not be worked out. Look at the kit's page.")
    number = f"T{line.tool_number}"
    nowhere = word("none")
    return or_instead(
        lambda: _line(line, wording),
        f"{number} ({line.tool_spec}) on the kit: {why}",
        lambda: KitLine(line.station or nowhere, number, line.tool_spec, note=why),
    )


def _line(line: PlannedLine, wording: Wording) -> KitLine:
    lot = line.sister.lot if line.sister else None
    return KitLine(
        station=line.station or word("none"),
        tool_number=f"T{line.tool_number}",
        spec=line.tool_spec,
        assembly=line.assembly or "",
        holder=line.holder or "",
        item=(line.sister.cutting_item if line.sister else None) or "",
        location=wording.lies(line.assembly, line.holder, lot) if line.sister else "",
        minutes=f"{line.bench_minutes:g}" if line.bench_minutes else "",
        note=wording.say(together(" ", filter(None, (_missing(line.missing), line.note)))),
    )


def _back(line: PlannedLine, wording: Wording) -> KitLine:
    """A tool that comes out, with the place of its holder."""
    return replace(_line_or_problem(line, wording), location=wording.lies(None, line.holder))
