"""What waits in the racks: measured tools by machine, for which swap, and what is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from crib.acts.gauge_trust import override_sentence
from crib.clock import instant_from_us, print_instant
from crib.floor.places import place_order
from crib.left_out import worked_out
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.swap_list import make_swap_list
from crib.outlook.swap_rows import USUAL_HOURS, SwapRow
from crib.records.catalogue import is_out_of_service
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.rack_rows import WaitingRow, sharing_places, waiting_rows
from crib.views.bench_card import lacks_for


@dataclass(frozen=True, slots=True)
class RackTool:
    """A built and measured tool that sits in no machine.

    Attributes:
        code: Its code.
        tool_spec: What it is built to.
        holder: Mark of its holder.
        cutting_item: What cuts.
        edge: Which edge of it.
        cutter_status: AVAILABLE, or USED where it cut before.
        rack_machine: Machine in whose rack it was put; null where nobody said.
        place: Place in that rack.
        also_there: Codes of other tools recorded at that place: all but one are gone.
        put_at: When it was put there.
        measured_at: When its preset was made.
        age_hours: Hours since then [h].
        void_after: Until when the preset holds.
        gauge: Mark of the gauge.
        gauge_failed_at: When that gauge failed the next check after this preset.
        gauge_override: Who let the preset count although its gauge was not checked, and why.
        label: printed, superseded (what was printed shows an earlier preset) or not_on_record.
        holder_out: The holder is lent or out of service by its record.
        machine: Machine of the swap that it is the sister for; null: unassigned.
        station: Its station there.
        tool_number: The tool number there.
        path: The path there.
        swap_by: When that swap is due.
        ready: Whether it can be mounted as it is.
        problems: What is to be done before, in sentences; empty where nothing is.
    """

    code: str
    tool_spec: str
    holder: str
    cutting_item: str
    edge: int
    cutter_status: str
    rack_machine: str | None
    place: str | None
    also_there: tuple[str, ...]
    put_at: datetime | None
    measured_at: datetime
    age_hours: float
    void_after: datetime
    gauge: str | None
    gauge_failed_at: datetime | None
    gauge_override: str | None
    label: str
    holder_out: bool
    machine: str | None
    station: str | None
    tool_number: int | None
    path: int | None
    swap_by: datetime | None
    ready: bool
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MachineRack:
    """Tools of one machine, those whose swap is due first before the others.

    Attributes:
        machine: The machine whose swap needs them, else in whose rack they stand; null where
            neither is known.
        tools: The tools.
    """

    machine: str | None
    tools: tuple[RackTool, ...]


@dataclass(frozen=True, slots=True)
class RackView:
    """Every rack of the shop.

    Attributes:
        as_of: When it was so.
        until: Swaps up to then were looked at for who needs what.
        racks: By machine; what nobody needs and nobody put anywhere comes last.
        problems: Tools that could not be worked out, and what to do.
    """

    as_of: datetime
    until: datetime
    racks: tuple[MachineRack, ...]
    problems: tuple[str, ...] = ()


def rack_view(
    tx: Tx,
    present: datetime,
    plan: ShopPlan,
    machine: str | None = None,
    hours: float = USUAL_HOURS,
) -> RackView:
    """List what waits, by machine.

    Args:
        tx: An open transaction.
        present: Now.
        plan: The shop's plan of now, which knows the swaps.
        machine: Only what this machine needs or what stands in its rack; None for all.
        hours: How far to look for swaps [h].

    Raises:
        Invalid: A horizon out of range.
    """
    swaps = make_swap_list(plan, hours)
    wanted: dict[str, SwapRow] = {}
    for row in swaps.rows:
        if row.sister.assembly is not None:
            wanted.setdefault(row.sister.assembly, row)
    sharing = sharing_places(tx)
    tools = worked_out(
        waiting_rows(tx),
        lambda row: _tool(row, present, wanted.get(row.code), sharing.get(row.code, ())),
        lambda row: sentence(
            "Tool {code} in holder {holder} could not be worked out. Measure it "
            "again before you mount it. The service log has the details.",
            code=row.code,
            holder=row.holder,
        ),
    )
    racks: dict[str | None, list[RackTool]] = {}
    for tool in tools:
        if machine is None or machine in (tool.machine, tool.rack_machine):
            racks.setdefault(tool.machine or tool.rack_machine, []).append(tool)
    return RackView(
        present,
        swaps.until,
        tuple(
            MachineRack(name, _in_order(racks[name]))
            for name in sorted(racks, key=lambda one: (one is None, one or ""))
        ),
        tools.problems,
    )


def _in_order(tools: Sequence[RackTool]) -> tuple[RackTool, ...]:
    """Those whose swap is due first; then by their places, as people look along a rack."""
    last = datetime.max.replace(tzinfo=UTC)
    return tuple(
        sorted(
            tools,
            key=lambda one: (one.swap_by or last, place_order(one.place), one.measured_at),
        )
    )


def _tool(
    row: WaitingRow, present: datetime, swap: SwapRow | None, also_there: tuple[str, ...]
) -> RackTool:
    measured_at = instant_from_us(row.measured_us)
    void_after = instant_from_us(row.void_after_us)
    failed = row.next_check_us is not None and not row.next_check_valid
    failed_at = instant_from_us(row.next_check_us) if failed and row.next_check_us else None
    override = None
    if row.override_by is not None and row.override_reason is not None:
        override = override_sentence(row.override_by, row.override_reason)
    needs = swap.forecast if swap is not None else None
    problems = _problems(row, present, void_after, failed_at, needs.machine if needs else None)
    lacks = lacks_for(swap) if swap is not None else None
    if lacks is not None:
        problems = (*problems, sentence("{lacks} Measure it again.", lacks=lacks))
    return RackTool(
        code=row.code,
        tool_spec=row.tool_spec,
        holder=row.holder,
        cutting_item=row.cutting_item,
        edge=row.edge,
        cutter_status=row.cutter_status,
        rack_machine=row.rack_machine,
        place=row.place,
        also_there=also_there,
        put_at=None if row.put_us is None else instant_from_us(row.put_us),
        measured_at=measured_at,
        age_hours=(present - measured_at) / timedelta(hours=1),
        void_after=void_after,
        gauge=row.gauge,
        gauge_failed_at=failed_at,
        gauge_override=override,
        label=_label(row),
        holder_out=is_out_of_service(row.holder_condition),
        machine=needs.machine if needs else None,
        station=needs.station if needs else None,
        tool_number=needs.tool_number if needs else None,
        path=needs.path if needs else None,
        swap_by=swap.swap_by if swap else None,
        ready=not problems,
        problems=problems,
    )


def _label(row: WaitingRow) -> str:
    if row.label_printed:
        return "printed"
    return "superseded" if row.other_label_printed else "not_on_record"


def _problems(
    row: WaitingRow,
    present: datetime,
    void_after: datetime,
    failed_at: datetime | None,
    needed_on: str | None,
) -> tuple[str, ...]:
    found = []
    if present > void_after:
        found.append(
            sentence(
                "Its preset expired {void_after}: measure it again.",
                void_after=print_instant(void_after),
            )
        )
    if failed_at is not None:
        found.append(
            sentence(
                "Gauge {gauge} failed its next check, at {failed_at}: measure it again.",
                gauge=row.gauge,
                failed_at=print_instant(failed_at),
            )
        )
    if _label(row) == "superseded":
        found.append(
            sentence("The label that was printed shows an earlier preset: print the new one.")
        )
    if is_out_of_service(row.holder_condition):
        found.append(
            sentence(
                "Holder {holder} is out of service ({holder_condition}).",
                holder=row.holder,
                holder_condition=row.holder_condition,
            )
        )
    if needed_on is not None and row.rack_machine not in (None, needed_on):
        found.append(
            sentence(
                "It is in the rack of {rack_machine}, but {needed_on} needs it: move it.",
                rack_machine=row.rack_machine,
                needed_on=needed_on,
            )
        )
    return tuple(found)
