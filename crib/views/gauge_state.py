"""Whether the shop's gauges count just now, and which to check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.acts.gauge_trust import gauge_problems
from crib.left_out import or_instead
from crib.outlook.shop_now import ShopNow
from crib.outlook.swap_list import bench_calendar
from crib.records.catalogue import GAUGES
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.presets import GaugeRow, gauge_as_stored, gauge_row, last_check
from crib.store.records import get_record, list_records

#: While one counts for longer than this, nobody has to check another that does not; common
#: practice, no source.
SOON_DUE = timedelta(hours=1)

#: A shift is taken to last no longer; common practice, no source.
_LONGEST_SHIFT = timedelta(hours=12)

#: How far ahead the next shift is looked for.
_LOOK_AHEAD = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class GaugeState:
    """A gauge and its last check.

    Attributes:
        row: The gauge.
        description: What and where it is, in the shop's own words.
        checked_at: When it was last on its setting master.
        passed: Whether it passed there.
        valid_until: Until when that check counts; None where it does not.
        problems: Why presets on it do not count, in sentences; empty where they do.
    """

    row: GaugeRow
    description: str
    checked_at: datetime | None
    passed: bool
    valid_until: datetime | None
    problems: tuple[str, ...]

    @property
    def counts(self) -> bool:
        """Whether presets on it count."""
        return not self.problems

    @property
    def measures(self) -> tuple[str, ...]:
        """The measures that its setting master has."""
        lengths = (
            self.row.master_lf_tenths_um,
            self.row.master_wf_tenths_um,
            self.row.master_hf_tenths_um,
        )
        named = zip(("LF", "WF", "HF"), lengths, strict=True)
        return tuple(name for name, length in named if length is not None)


@dataclass(frozen=True, slots=True)
class GaugeDue:
    """A gauge to check on its setting master.

    Attributes:
        gauge: Its mark.
        until: Until when its last check holds; None where nothing may be measured on it now.
        spare: Whether another may be used instead, so that nobody has to act.
    """

    gauge: str
    until: datetime | None
    spare: bool


def shift_end(shop: ShopNow) -> datetime:
    """When the shift at the bench ends that is on, or else comes next."""
    hours = bench_calendar(shop).stretches(shop.now, shop.now + _LOOK_AHEAD)
    coming = next((one for one in hours if one.attended), None)
    if coming is None:
        return shop.now + _LONGEST_SHIFT
    return min(coming.end_at, coming.start_at + _LONGEST_SHIFT)


def checks_due(states: Sequence[GaugeState], now: datetime, until: datetime) -> list[GaugeDue]:
    """Gauges whose check does not hold through the shift: those to act on first, then by time.

    Args:
        states: Every gauge.
        now: The instant.
        until: End of the shift that is on, or comes next (``shift_end``).
    """
    ends = [one.valid_until for one in states if one.valid_until is not None]
    lasts = any(end >= until for end in ends)
    counts = any(end >= min(now + SOON_DUE, until) for end in ends)
    due = [
        GaugeDue(one.row.gauge, one.valid_until, counts if one.valid_until is None else lasts)
        for one in states
        if one.valid_until is None or one.valid_until < until
    ]
    return sorted(due, key=lambda one: (one.spare, one.until or now))


def gauge_state(tx: Tx, gauge_id: int, present: datetime) -> GaugeState:
    """The state of one gauge at an instant."""
    row = gauge_row(tx, gauge_id)
    check = last_check(tx, gauge_id, present)
    problems = gauge_problems(tx, row, present)
    until = None
    if check is not None and not problems:
        until = check.at + timedelta(hours=row.check_hours)
    return GaugeState(
        row,
        get_record(tx, GAUGES, gauge_id)["description"] or "",
        check.at if check else None,
        bool(check and check.valid),
        until,
        problems,
    )


def gauge_states(tx: Tx, present: datetime) -> list[GaugeState]:
    """Every gauge in use, by its mark; one with damaged records may not be used."""
    return [
        _state_or_problem(tx, int(row["id"]), str(row["gauge"]), present)
        for row in list_records(tx, GAUGES)
    ]


def _state_or_problem(tx: Tx, gauge_id: int, name: str, present: datetime) -> GaugeState:
    why = sentence(
        "It is not known whether gauge {name} may be used. Correct its record, "
        "then check it on its setting master. The service log has the details.",
        name=name,
    )
    return or_instead(
        lambda: gauge_state(tx, gauge_id, present),
        why,
        lambda: GaugeState(gauge_as_stored(tx, gauge_id), "", None, False, None, (why,)),
    )


def usual_gauge(states: Sequence[GaugeState], asked: str = "") -> GaugeState | None:
    """The gauge asked for by mark; else the one that counts and was checked last."""
    named = [one for one in states if one.row.gauge == asked]
    if named:
        return named[0]
    return max(
        states,
        key=lambda one: (one.counts, one.checked_at.timestamp() if one.checked_at else 0.0),
        default=None,
    )
