"""Taking a fact back by a new one that names it; what was recorded stays on record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from crib.acts.dismiss_question import take_back_dismissal
from crib.acts.judge_count import take_back_verdict
from crib.acts.reverse_bench import take_back_build, take_back_teardown
from crib.acts.use_up import give_edges_back
from crib.acts.who_and_when import WhoAndWhen, record, refuse_before, who_and_when
from crib.errors import Conflict, HolderInUse, NotKnown, StationOccupied
from crib.sentence import sentence, together, word
from crib.stock.assembly import ALLOCATED, STAYS_BUILT, status_when_freed
from crib.stock.ledger import refuse_below_nothing
from crib.store.assemblies import (
    assembly_in_station,
    assembly_of_holder,
    assembly_row,
    later_fact_of,
    set_state,
    stays_of,
)
from crib.store.breakage_rows import breakage_mount
from crib.store.engine import Tx
from crib.store.facts import get_fact
from crib.store.ledger_rows import book_move, move_row
from crib.store.mounts import (
    MountRow,
    corrections_of,
    last_in_station,
    mount_row,
    removed_mount_id,
    sit_down,
    stand_up,
)
from crib.store.stations import station_row
from crib.store.stockrows import lot_row

#: Why other kinds of facts are not taken back, and what to do instead.
_INSTEAD = {
    "preset": sentence(
        "A preset cannot be taken back: measure the tool again. Only its newest preset counts."
    ),
    "count": sentence(
        "A count cannot be taken back: later counts correct it, and impossible counts are held."
    ),
    "gauge_check": sentence(
        "A gauge check cannot be taken back: check the gauge again. Only the "
        "newest check counts."
    ),
    "reversal": sentence("A reversal cannot be taken back: record the fact again."),
}


@dataclass(frozen=True, slots=True)
class ReverseFact:
    """Take a fact back."""

    fact_id: int
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class FactReversed:
    """A fact that was taken back, and the outcome."""

    fact_id: int
    reversed_fact_id: int
    kind: str
    at: datetime
    sentence: str


def reverse_fact(tx: Tx, present: datetime, command: ReverseFact) -> FactReversed:
    """Take back what moved, happened or was said of tools, stock, counts and questions.

    Raises:
        Conflict: It was taken back before, something was built on it since, or facts of its
            kind are put right in another way; the sentence says how.
        NotKnown: There is no such fact.
    """
    told = who_and_when(tx, present, command)
    if not 0 < command.fact_id < 1 << 63:
        raise NotKnown(
            sentence("There is no fact {fact_id} here.", fact_id=str(command.fact_id)[:30]),
            errors=[{"field": "fact_id", "detail": sentence("is not a fact here")}],
        )
    fact = get_fact(tx, command.fact_id)
    kind = str(fact["kind"])
    if kind in _INSTEAD:
        raise Conflict(_INSTEAD[kind], facts={"fact_id": command.fact_id, "kind": kind})
    if fact["reversed_by_id"] is not None:
        raise Conflict(
            sentence(
                "Fact {fact_id} was taken back already, by fact {reversed_by_id}.",
                fact_id=command.fact_id,
                reversed_by_id=fact["reversed_by_id"],
            ),
            facts={"fact_id": command.fact_id, "reversed_by_id": fact["reversed_by_id"]},
        )
    if fact["at"] <= present:  # else a clock was ahead then, and taking it back is the cure
        told = refuse_before(
            told, fact["at"], sentence("fact {fact_id} happened", fact_id=command.fact_id)
        )
    fact_id, text = _ACTS[kind](tx, told, command.fact_id)
    return FactReversed(fact_id, command.fact_id, kind, told.at, text)


def _take_back(tx: Tx, told: WhoAndWhen, fact_id: int) -> int:
    return record(tx, "reversal", told, reverses_id=fact_id)


def _mount(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    mount = _standing_mount(tx, fact_id)
    assembly = assembly_row(tx, mount.assembly_id)
    station = station_row(tx, mount.station_id)
    if mount.removal_id is not None:
        raise Conflict(
            sentence(
                "{code} came out of {mark} since: take back that removal (fact "
                "{removal_id}) first.",
                code=assembly.code,
                mark=station.mark,
                removal_id=mount.removal_id,
            ),
            facts={"removal_id": mount.removal_id},
        )
    steps = corrections_of(tx, mount.id)
    if steps:
        raise Conflict(
            sentence(
                "The offset of {mark} was stepped since: take those corrections back "
                "first, facts {steps}.",
                mark=station.mark,
                steps=together(", ", (str(step.id) for step in steps)),
            ),
            facts={"correction_ids": [step.id for step in steps]},
        )
    reversal_id = _take_back(tx, told, fact_id)
    stand_up(tx, mount.id)
    status = status_when_freed(
        stays=stays_of(tx, assembly.id), has_preset=assembly.preset_id is not None
    )
    set_state(tx, assembly.id, status=status, preset_id=assembly.preset_id)
    return reversal_id, sentence(
        "Station {mark} is empty; {code} is {status} again.",
        mark=station.mark,
        code=assembly.code,
        status=word(status),
    )


def _standing_mount(tx: Tx, mount_id: int) -> MountRow:
    mount = mount_row(tx, mount_id)
    if mount is None:
        raise Conflict(
            sentence("The mount (fact {mount_id}) was taken back itself.", mount_id=mount_id),
            facts={"mount_id": mount_id},
        )
    return mount


def _removal(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    mount = _standing_mount(tx, removed_mount_id(tx, fact_id))
    assembly = assembly_row(tx, mount.assembly_id)
    station = station_row(tx, mount.station_id)
    occupant = assembly_in_station(tx, station.id)
    if occupant is not None:
        raise StationOccupied(
            sentence(
                "Station {mark} holds {code} by now: take that mount back first.",
                mark=station.mark,
                code=occupant.code,
            ),
            facts={"station": station.mark, "assembly": occupant.code},
        )
    last = last_in_station(tx, station.id)
    if last is not None and last.id != mount.id:
        raise Conflict(
            sentence(
                "Another tool was in station {mark} since: take back its removal and "
                "its mount first.",
                mark=station.mark,
            ),
            facts={"station": station.mark},
        )
    later = later_fact_of(tx, assembly.id, fact_id)
    if later is not None:
        raise Conflict(
            sentence(
                "Something was recorded about {code} since (fact {later}): its removal "
                "cannot be taken back.",
                code=assembly.code,
                later=later,
            ),
            facts={"assembly": assembly.code, "fact_id": later},
        )
    built = assembly_of_holder(tx, assembly.holder_id)
    if built is not None and built.id != assembly.id:
        raise HolderInUse(
            sentence(
                "The holder of {code} is built as {code2} by now: take that apart first.",
                code=assembly.code,
                code2=built.code,
            ),
            facts={"assembly": built.code},
        )
    if mount.reason not in STAYS_BUILT:
        give_edges_back(tx, assembly)
    reversal_id = _take_back(tx, told, fact_id)
    set_state(tx, assembly.id, status=ALLOCATED, preset_id=mount.preset_id)
    sit_down(tx, station.id, assembly.id, mount.id)
    return reversal_id, sentence(
        "{code} sits in station {mark} again.", code=assembly.code, mark=station.mark
    )


def _correction(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    reversal_id = _take_back(tx, told, fact_id)
    return reversal_id, sentence(
        "The step is taken back here; take it back at the control as well."
    )


def _stock_move(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    move = move_row(tx, fact_id)
    if move.change == 0 and move.move == "return":
        raise Conflict(
            sentence("A regrind cannot be taken back: the piece counts as ground."),
            facts={"fact_id": fact_id},
        )
    lot = lot_row(tx, move.lot_id)
    refuse_below_nothing(
        lot.on_hand,
        -move.change,
        lot=lot.mark,
        what=sentence("Taking back that {move}", move=word(move.move)),
    )
    reversal_id = _take_back(tx, told, fact_id)
    left = lot.on_hand - move.change
    book_move(tx, reversal_id, lot.id, move.move, -move.change, left)
    return reversal_id, sentence("Lot {mark} has {left} in the box.", mark=lot.mark, left=left)


def _label_print(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    return _take_back(tx, told, fact_id), sentence(
        "The print is taken back. If that label exists, destroy it."
    )


def _rack_place(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    return _take_back(tx, told, fact_id), sentence(
        "The tool is back at its earlier place on record."
    )


def _count_verdict(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    reversal_id = _take_back(tx, told, fact_id)
    return reversal_id, take_back_verdict(tx, fact_id, reversal_id)


def _breakage(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    mount = _standing_mount(tx, breakage_mount(tx, fact_id))
    code = assembly_row(tx, mount.assembly_id).code
    reversal_id = _take_back(tx, told, fact_id)
    return reversal_id, sentence(
        "The edge of {code} is whole again on record and wears by the counter.", code=code
    )


def _question_dismissal(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    return _take_back(tx, told, fact_id), take_back_dismissal(tx, fact_id)


def _stop(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    return _take_back(tx, told, fact_id), sentence("The stop is taken back.")


def _night_choice(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    return _take_back(tx, told, fact_id), sentence(
        "That decision is taken back. If there was one before it, that one holds."
    )


def _life_confirmation(tx: Tx, told: WhoAndWhen, fact_id: int) -> tuple[int, str]:
    return _take_back(tx, told, fact_id), sentence(
        "The forecast weighs that life by itself again."
    )


_ACTS: dict[str, Callable[[Tx, WhoAndWhen, int], tuple[int, str]]] = {
    "mount": _mount,
    "removal": _removal,
    "correction": _correction,
    "stock_move": _stock_move,
    "stop": _stop,
    "label_print": _label_print,
    "rack_place": _rack_place,
    "count_verdict": _count_verdict,
    "breakage": _breakage,
    "question_dismissal": _question_dismissal,
    "night_choice": _night_choice,
    "life_confirmation": _life_confirmation,
    "build": take_back_build,
    "teardown": take_back_teardown,
}
