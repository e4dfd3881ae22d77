"""What a machine does by its counts: its job and how far it is, or since when it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from crib.arrays import Ints
from crib.clock import instant_from_us, instant_or_none, print_instant
from crib.floor.calendar import WorkCalendar
from crib.outlook.to_put_right import SILENT_PATH, ToPutRight
from crib.planning.ahead import TimeAhead
from crib.planning.output import MachineOutput
from crib.planning.rest_of_run import SILENCE_S
from crib.sentence import sentence
from crib.store.shop_records import RunOfShop

#: A machine stands when it was heard for so many cycles without a part, and for half an hour.
_CYCLES = 3.0


@dataclass(frozen=True, slots=True)
class MachineTold:
    """What a machine does by its counts.

    Attributes:
        part: Part of the running run; None where none is on.
        quantity: Parts ordered of it.
        made: Parts counted for it.
        past: Parts made past that quantity.
        last_part_at: When the last part was counted; None: the counter never went up.
        heard_at: When its counter was heard last.
        stands_since: The last part, where it was heard long enough since and made none.
        stood_s: Open seconds that it stands by now, those in which a part may take its time
            left out.
        next_part: Part of the job planned next; None where none is.
    """

    part: str | None = None
    quantity: int = 0
    made: int = 0
    past: int = 0
    last_part_at: datetime | None = None
    heard_at: datetime | None = None
    stands_since: datetime | None = None
    stood_s: float = 0.0
    next_part: str | None = None

    @property
    def is_complete(self) -> bool:
        """Whether the job on the machine has made its quantity, and no part past it."""
        return self.made == self.quantity > 0


def machine_told(
    output: MachineOutput,
    running: tuple[int, RunOfShop] | None,
    calendar: WorkCalendar,
    now: datetime,
    asked_at: datetime | None,
) -> MachineTold:
    """What a machine does by its counts.

    Args:
        output: What it made.
        running: Place in the output and row of the run that is on; None without.
        calendar: When it is open.
        now: Now.
        asked_at: When its agent answered last; None where nothing asks it.
    """
    last = last_part(output)
    heard = _heard(output, now, asked_at)
    if running is None:
        return MachineTold(last_part_at=last, heard_at=heard)
    index, run = running
    made = output.parts_of_run(index)
    job = (run.part, run.quantity, made, max(made - run.quantity, 0))
    since = max(
        (at for at in (last, _first(output), instant_or_none(run.start_at)) if at is not None),
        default=None,
    )
    if since is None or heard is None or heard <= since or is_silent(heard, calendar, now):
        return MachineTold(*job, last, heard)
    pause_s = max(SILENCE_S, _CYCLES * run.cycle_s)
    stood_s = calendar.running_seconds(since, heard) - pause_s
    if stood_s <= 0:
        return MachineTold(*job, last, heard)
    return MachineTold(*job, last, heard, since, stood_s)


def is_silent(heard: datetime | None, calendar: WorkCalendar, now: datetime) -> bool:
    """Whether so much open time passed since a counter was heard that nobody knows."""
    return (
        heard is not None and heard < now and calendar.running_seconds(heard, now) > SILENCE_S
    )


def silent_paths(
    machine: str, told_us: Mapping[int, Ints], calendar: WorkCalendar
) -> list[ToPutRight]:
    """Paths whose counters sent nothing while another of the machine went on.

    Args:
        machine: Its name.
        told_us: When each path's own counter sent something, oldest first [µs].
        calendar: When the machine is open.
    """
    heard = {path: at_us for path, at_us in told_us.items() if at_us.size}
    if not heard:
        return []  # told of the machine as a whole
    latest = instant_from_us(max(int(at_us[-1]) for at_us in heard.values()))
    first = instant_from_us(min(int(at_us[0]) for at_us in heard.values()))
    found = []
    for path in sorted(told_us):
        last = instant_from_us(int(heard[path][-1])) if path in heard else None
        if not is_silent(last or first, calendar, latest):
            continue
        text = (
            sentence(
                "Path {path} of machine {machine} has sent no count yet, though "
                "another path's counter runs on: its edges are charged with nothing. "
                "Look at its counter.",
                path=path,
                machine=machine,
            )
            if last is None
            else sentence(
                "Path {path} of machine {machine} has sent no count since {last}, "
                "though another path's counter runs on: its edges are charged with "
                "nothing. Look at its counter.",
                path=path,
                machine=machine,
                last=print_instant(last),
            )
        )
        found.append(ToPutRight(SILENT_PATH, machine, text))
    return found


def last_part(output: MachineOutput) -> datetime | None:
    """When the last part was counted; None where the counter never went up."""
    if not output.at_us.size or output.total[-1] <= output.total[0]:
        return None
    place = int(np.searchsorted(output.total, output.total[-1] - 1e-6, side="left"))
    return instant_from_us(int(output.at_us[place]))


def starts_again_s(told: MachineTold, time: TimeAhead) -> float:
    """Running second at which a standing machine is expected to cut again; 0 where it runs.

    What has stood for so long stands as long again in half of the cases (Gott 1993, Nature
    363, p. 315, quoted from memory), and it is not started while nobody is there.
    """
    if told.stands_since is None:
        return 0.0
    return time.unattended_end(told.stood_s)


def _heard(output: MachineOutput, now: datetime, asked_at: datetime | None) -> datetime | None:
    last = instant_from_us(int(output.at_us[-1])) if output.at_us.size else None
    asked = None if asked_at is None or last is None else min(asked_at, now)
    return max((at for at in (last, asked) if at is not None), default=None)


def _first(output: MachineOutput) -> datetime | None:
    return instant_from_us(int(output.at_us[0])) if output.at_us.size else None
