"""What the printed lists say: the swap list, the bench queue and a kit as lines of text."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime

from api.language.sentences import in_english
from crib.acts.question import Question
from crib.left_out import or_instead
from crib.outlook.swap_list import SwapList
from crib.outlook.swap_list import SwapRow as PlannedSwap
from crib.planning.bench import QueueRow
from crib.planning.kits import KitLine as PlannedLine
from crib.planning.shelf import Missing
from crib.sentence import together
from crib.store.night_rows import NightChoiceRow
from crib.views.decided_nights import decision_for, decision_sentence
from crib.views.kit_for_run import RunKit
from crib.views.night_view import NightView
from labels.kit_sheet import KitLine, KitSheet
from labels.swap_sheet import BenchRow, NightRow, ShiftSheet, SwapRow

Local = Callable[[datetime | None], str]


def _missing(missing: Sequence[Missing], local: Local) -> str:
    return in_english(together("; ", (one.sentence for one in missing)), local)


def shift_sheet(
    found: SwapList,
    made_at: datetime,
    hours: float,
    local: Local,
    breakages: Sequence[Question] = (),
    problems: Sequence[str] = (),
    nights: Sequence[NightView] = (),
    places: Mapping[str, str] | None = None,
    decided: Sequence[NightChoiceRow] = (),
) -> ShiftSheet:
    """Tonight, the swap list and the bench queue as text; unclear breakages stand first."""
    return ShiftSheet(
        made_at=local(made_at),
        horizon=f"the next {hours:g} hours, to {local(found.until)}",
        swaps=(
            *(_broken(one, local) for one in breakages),
            *(_swap_or_problem(row, local) for row in found.rows),
        ),
        bench=tuple(
            _bench(job, swap, local)
            for job, swap in zip(found.queue.rows, found.queue_rows, strict=True)
        ),
        nights=tuple(
            row for one in nights for row in _night(one, places or {}, local, decided)
        ),
        problems=tuple(in_english(one, local) for one in problems),
    )


def _night(
    one: NightView,
    places: Mapping[str, str],
    local: Local,
    decided: Sequence[NightChoiceRow],
) -> Iterator[NightRow]:
    """What was decided, the answer with its reason, then the swaps to make first."""
    chosen = decision_for(decided, one.night.machine, one.begin_at, one.end_at)
    told = (chosen and decision_sentence(chosen), one.answer, one.reason)
    said = in_english(together(" ", filter(None, told)), local)
    minutes = "" if one.minutes is None or not one.swaps else f"{one.minutes:g}"
    yield NightRow(one.night.machine, said, minutes)
    for swap in one.swaps:
        sister = swap.row.sister
        yield NightRow(
            machine="",
            what=f"swap {swap.forecast.station}, {swap.row.tool_spec}",
            minutes="" if swap.minutes is None else f"{swap.minutes:g}",
            sister=sister.assembly or sister.holder or sister.state,
            place=places.get(sister.assembly or "", ""),
            swap=True,
        )


def _broken(one: Question, local: Local) -> SwapRow:
    return SwapRow(
        machine=one.machine,
        station="?",
        tool_number="" if one.tool_number is None else f"T{one.tool_number}",
        swap_by=local(one.since),
        why=f"'{one.says}' told a broken tool; nobody knows which. Look, then answer.",
        late=True,
    )


def _bench(job: QueueRow, swap: PlannedSwap, local: Local) -> BenchRow:
    return BenchRow(
        spec=swap.tool_spec,
        start=local(job.start_at),
        finish=local(job.finish_at),
        needed_by=local(job.job.due_at),
        work=f"{job.job.work}, {job.job.minutes:g} min",
        assembly=swap.sister.assembly or "",
        holder=swap.sister.holder or "",
        machine=swap.forecast.machine,
        station=swap.forecast.station,
        missing=_missing(swap.sister.missing, local),
        late=job.late,
    )


def _swap_or_problem(row: PlannedSwap, local: Local) -> SwapRow:
    """A swap as text; one whose text cannot be worked out stays on the sheet."""
    one = row.forecast
    why = "What to do could not be worked out. Look at the edge and at the swap list."
    return or_instead(
        lambda: _swap(row, local),
        f"The swap of {one.machine}/{one.station} on the sheet: {why}",
        lambda: SwapRow(one.machine, one.station, f"T{one.tool_number}", why=why, late=True),
    )


def _swap(row: PlannedSwap, local: Local) -> SwapRow:
    one, sister = row.forecast, row.sister
    left = one.parts_left.get("p50") if row.ordinal == 0 else None
    return SwapRow(
        machine=one.machine,
        station=one.station,
        tool_number=f"T{one.tool_number}",
        assembly="empty" if row.fills else row.takes_out or f"successor {row.ordinal}",
        spec=row.tool_spec,
        swap_by=f"{'ready by ' if row.standby else ''}{local(row.swap_by)}",
        parts_left="" if left is None else str(left),
        swap_after_parts="" if row.swap_after_parts is None else str(row.swap_after_parts),
        why=_why(row, local),
        sister_state="none needed" if row.removal else sister.state,
        sister=sister.assembly or sister.holder or "",
        missing=_missing(sister.missing, local),
        late=row.late,
    )


def _why(row: PlannedSwap, local: Local) -> str:
    since = row.overdue_since
    why = in_english(row.why_sentence, local)
    return f"Overdue since {local(since)}. {why}" if since else why


def kit_sheet(found: RunKit, made_at: datetime, local: Local) -> KitSheet:
    """A changeover as text; what cannot be had stands under what is to be built."""
    kit = found.kit
    return KitSheet(
        machine=found.machine,
        part=f"{found.part}, {found.quantity} parts",
        start_at=local(found.at),
        keep=tuple(_line_or_problem(line, local) for line in (*kit.keep, *kit.idle)),
        pull=tuple(_line_or_problem(line, local) for line in kit.pull),
        build=tuple(_line_or_problem(line, local) for line in (*kit.build, *kit.blocked)),
        back=tuple(_line_or_problem(line, local) for line in kit.returned),
        minutes=(
            ("bench, before the changeover", f"{kit.bench_minutes:g}"),
            ("machine stands", f"{kit.machine_minutes:g}"),
        ),
        problems=tuple(in_english(one, local) for one in found.problems),
        run=str(found.run_id),
        made_at=local(made_at),
    )


def _line_or_problem(line: PlannedLine, local: Local) -> KitLine:
    """A tool of a kit as text; one whose text cannot be made stays on the sheet."""
    why = "What to do could not be worked out. Look at the kit's page."
    number = f"T{line.tool_number}"
    return or_instead(
        lambda: _line(line, local),
        f"{number} ({line.tool_spec}) on the kit: {why}",
        lambda: KitLine(line.station or "none", number, line.tool_spec, note=why),
    )


def _line(line: PlannedLine, local: Local) -> KitLine:
    said = (_missing(line.missing, local), in_english(line.note, local))
    note = "; ".join(text for text in said if text)
    return KitLine(
        station=line.station or "none",
        tool_number=f"T{line.tool_number}",
        spec=line.tool_spec,
        assembly=line.assembly or "",
        holder=line.holder or "",
        item=(line.sister.cutting_item if line.sister else None) or "",
        minutes=f"{line.bench_minutes:g}" if line.bench_minutes else "",
        note=note,
    )
