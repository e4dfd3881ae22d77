"""Rows of the swap list, and the bench queue that they make."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.outlook.shop_plan import Forecast
from crib.outlook.to_put_right import DOUBTED_AGE
from crib.outlook.vacancies import EMPTY
from crib.planning.bench import BenchQueue, QueueRow
from crib.planning.shelf import Sister

#: Horizon of a list where none is asked for, and the longest [h].
USUAL_HOURS = 24.0
LONGEST_HOURS = 24.0 * 30


@dataclass(frozen=True, slots=True)
class SwapRow:
    """One swap of one station.

    Attributes:
        forecast: The station's forecast now.
        ordinal: 0 for the edge in the machine, or the tool that an empty station needs, 1 for
            its successor, …
        swap_by: Latest instant to swap.
        swap_after_parts: Parts from now; None for successors.
        why: Slug; see ``crib.planning.swaps``.
        why_sentence: The same in words.
        sister: The tool that replaces it.
        bench: Its job in the bench queue, if the sister needs one.
        cost_if_earlier_minor: What swapping ``cost_step_parts`` earlier would cost beside the
            plan [hundredths of the currency]; None where it is due now.
        cost_if_later_minor: The same that many parts later; below 0 where the edge alone
            would rather wait.
        cost_step_parts: A quarter of a planned life of the edge that comes out.
        sister_by: When the sister has to be ready, where that is before ``swap_by``: one in ten
            like edges has failed by then, or else nobody would be there to finish the swap.
        standby: Whether no swap is planned: the edge is run until it fails or its run ends, and
            ``swap_by`` only says by when the sister has to be ready.
        job_complete: Whether the job on the machine has made its quantity.
    """

    forecast: Forecast
    ordinal: int
    swap_by: datetime
    swap_after_parts: int | None
    why: str
    why_sentence: str
    sister: Sister
    bench: QueueRow | None
    cost_if_earlier_minor: int | None = None
    cost_if_later_minor: int | None = None
    cost_step_parts: int | None = None
    sister_by: datetime | None = None
    standby: bool = False
    job_complete: bool = False

    @property
    def needed_by(self) -> datetime:
        """When the sister has to be ready."""
        return self.sister_by or self.swap_by

    def is_due(self, now: datetime) -> bool:
        """Whether the swap is to be made now."""
        return not self.standby and self.swap_by <= now

    @property
    def overdue_since(self) -> datetime | None:
        """When the edge in the machine reached its point, where that lies behind."""
        return self.forecast.overdue_since if self.ordinal == 0 else None

    @property
    def takes_out(self) -> str | None:
        """Code of the assembly that comes out; None for a successor and an empty station."""
        return self.forecast.assembly or None if self.ordinal == 0 else None

    @property
    def tool_spec(self) -> str:
        """What goes in; of what only comes out, what that is."""
        return self.forecast.wanted or self.forecast.tool_spec

    @property
    def asked(self) -> bool:
        """Whether the first question is if the edge in the machine was changed unrecorded."""
        return self.why == DOUBTED_AGE

    @property
    def removal(self) -> bool:
        """Whether the tool comes out and nothing goes in."""
        return self.sister.state == "not_needed"

    @property
    def fills(self) -> bool:
        """Whether nothing comes out: the station is empty."""
        return self.why == EMPTY

    @property
    def before_next_job(self) -> bool:
        """Whether nothing is cut with the edge that comes out before the next job begins."""
        return self.job_complete and not (self.removal or self.fills)

    @property
    def ready_by(self) -> datetime | None:
        """When the sister will be ready; None where it is now, or never will."""
        if self.bench is not None:
            return self.bench.finish_at
        return self.sister.available_from

    @property
    def not_ready(self) -> bool:
        """Whether the bench has still to build or measure the sister."""
        return self.sister.state in ("build", "measure")

    @property
    def blocked(self) -> bool:
        """Whether the bench can do nothing for the sister."""
        return self.sister.state == "blocked"

    @property
    def late(self) -> bool:
        """Whether the sister will not be there in time."""
        return self.blocked or (self.bench is not None and self.bench.late)


@dataclass(frozen=True, slots=True)
class SwapList:
    """Swaps within a horizon, the most urgent first, and the bench queue they make.

    Attributes:
        rows: Swaps of all machines asked for.
        queue: The bench's work for the whole shop, whichever machine was asked for.
        queue_rows: The swap behind each job of the queue, in its order.
        until: End of the horizon.
    """

    rows: tuple[SwapRow, ...]
    queue: BenchQueue
    queue_rows: tuple[SwapRow, ...]
    until: datetime
