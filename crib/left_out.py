"""Tools and machines whose figures cannot be worked out: found, named, and kept apart.

One record must never take the rest of the shop down. What a machine needs is laid out machine
by machine, so that a fault there is that machine's. Tools are reckoned all at once; only where
that fails are they divided until those are found that fail by themselves.
"""

from __future__ import annotations

import logging
import math
import threading
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Final, TypeVar

from crib.errors import Conflict, Damaged, OutsideModel, Refusal
from crib.sentence import sentence
from crib.store.field_types import refuse_other_types
from crib.store.savepoint import STORE_FAULTS

_LOG = logging.getLogger("crib.left_out")

#: Why an edge is pointed out whose forecast could not be worked out.
NOT_WORKED_OUT: Final = "not_worked_out"

#: Not the fault of a record: no smaller share of the shop would do better.
NOT_A_RECORDS: Final = (*STORE_FAULTS, MemoryError)

#: Refusals of what a record holds, and not of what was asked for.
_OF_A_RECORD: Final = (Damaged, OutsideModel)

#: Attempts while the tools that fail are looked for; those still not separated are left
#: out together, since a shop that waits for its list is not served either.
_MOST_TRIALS = 160

#: Tools of one kind that are tried by themselves before all of the kind are left out.
_SAMPLES: Final = 3

_Found = TypeVar("_Found")
_Made = TypeVar("_Made")


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What the figures of a shop were worked out without, each with the reason in words.

    Attributes:
        machines: By machine id.
        tools: By assembly id.
        others: Other records that could not be used: calendars, tool-life rows, parts.
    """

    machines: Mapping[int, str] = field(default_factory=dict)
    tools: Mapping[int, str] = field(default_factory=dict)
    others: tuple[str, ...] = ()

    def with_machines(self, more: Mapping[int, str]) -> LeftOut:
        """The same and more machines."""
        return replace(self, machines={**self.machines, **more}) if more else self

    def with_tools(self, more: Mapping[int, str]) -> LeftOut:
        """The same and more tools."""
        return replace(self, tools={**self.tools, **more}) if more else self

    def with_others(self, more: Iterable[str]) -> LeftOut:
        """The same and more of other records, each once."""
        return replace(self, others=tuple(dict.fromkeys((*self.others, *more))))

    @property
    def records(self) -> tuple[str, ...]:
        """Reasons of machines and other records, each once; a tool's stands in its row."""
        return tuple(dict.fromkeys((*self.machines.values(), *self.others)))


class Unsound(Exception):  # noqa: N818 - found where numbers are looked at, caught above
    """Numbers came out that are none.

    Args:
        tools: Assembly ids.
    """

    def __init__(self, tools: Iterable[int]) -> None:
        self.tools = tuple(tools)
        super().__init__(
            sentence("figures of {tools} tools are not finite numbers", tools=len(self.tools))
        )


class Blamed(Exception):  # noqa: N818 - raised where tools are looked at, caught above
    """Some tools cannot be worked out, whatever the others are.

    Args:
        faults: What went wrong, by assembly id.
    """

    def __init__(self, faults: Mapping[int, Exception]) -> None:
        self.faults = dict(faults)
        super().__init__(
            sentence("figures of {tools} tools cannot be worked out", tools=len(self.faults))
        )


def by_tool(
    rows: Iterable[_Found],
    work: Callable[[_Found], _Made],
    tools: Callable[[_Found], Iterable[int]],
) -> list[_Made]:
    """Work out every row of some tools; the tools of all rows that fail are named at once.

    Args:
        rows: The rows.
        work: Works one out.
        tools: Assembly ids behind a row.

    Raises:
        Blamed: Some rows failed.
    """
    made: list[_Made] = []
    faults: dict[int, Exception] = {}
    for row in rows:
        try:
            made.append(work(row))
        except NOT_A_RECORDS:
            raise
        except Exception as fault:
            faults |= dict.fromkeys(tools(row), fault)
    if faults:
        raise Blamed(faults)
    return made


class _Told:
    """Faults that the log has already; a plan is made every few seconds."""

    def __init__(self, most: int = 1_000) -> None:
        self._lock = threading.Lock()
        self._order: deque[str] = deque(maxlen=most)

    def is_new(self, fault: str) -> bool:
        with self._lock:
            if fault in self._order:
                return False
            self._order.append(fault)
            return True


_TOLD = _Told()


def log_once(what: str, fault: BaseException) -> None:
    """Log a fault with its traceback the first time that it is met."""
    if _TOLD.is_new(f"{what}: {fault!r}"):
        message = "%s" if what.endswith(".") else "%s could not be worked out"
        _LOG.error(message, what, exc_info=fault)


def culprits(
    tools: Sequence[int],
    works_with: Callable[[Sequence[int]], object],
    kind: Callable[[int], object],
    most: int = _MOST_TRIALS,
) -> list[tuple[int, BaseException]]:
    """The tools that make the figures fail by themselves, each with its fault.

    Args:
        tools: Those to look among, like ones side by side.
        works_with: Works out the figures of so many; raises where they cannot be.
        kind: What makes tools alike, such as their spec: where three of a kind fail, one
            record behind all of them is at fault.
        most: Attempts.

    Returns:
        The tools; none where the figures fail without any tool too.
    """
    trials = 0

    def fault_of(some: Sequence[int]) -> BaseException | None:
        nonlocal trials
        trials += 1
        try:
            works_with(some)
        except NOT_A_RECORDS:
            raise
        except Exception as fault:
            return fault
        return None

    if fault_of([]) is not None:
        return []
    found: list[tuple[int, BaseException]] = []
    waiting = deque([list(tools)])
    while waiting:
        some = waiting.popleft()
        fault = fault_of(some) if some else None
        if fault is None:
            continue
        if isinstance(fault, Blamed):
            found += fault.faults.items()
            waiting.append([tool for tool in some if tool not in fault.faults])
            continue
        middle = len(some) // 2
        if len(some) > _SAMPLES and len({kind(tool) for tool in some}) == 1:
            samples = (some[0], some[middle], some[-1])
            of_kind = all(fault_of([tool]) is not None for tool in samples)
        else:
            of_kind = False
        if len(some) == 1 or of_kind or trials >= most:
            found += [(tool, fault) for tool in some]
        else:
            waiting += [some[:middle], some[middle:]]
    return found


def each(
    rows: Iterable[_Found], use: Callable[[_Found], object], failed: Callable[[_Found], str]
) -> list[str]:
    """Use every row by itself; a row that cannot be used stops none of the others.

    Args:
        rows: The rows.
        use: What is done with one.
        failed: What to say of one that failed.

    Returns:
        A sentence for each row that failed; the log has their faults.
    """
    told = []
    for row in rows:
        try:
            use(row)
        except NOT_A_RECORDS:
            raise
        except Exception as fault:
            text = failed(row)
            log_once(text, fault)
            told.append(text)
    return told


class Kept(list[_Made]):
    """What rows came to, but for those that could not be worked out.

    Attributes:
        problems: A sentence for each of these.
    """

    def __init__(self, rows: Iterable[_Made] = ()) -> None:
        super().__init__(rows)
        self.problems: tuple[str, ...] = ()


def worked_out(
    rows: Iterable[_Found], work: Callable[[_Found], _Made], failed: Callable[[_Found], str]
) -> Kept[_Made]:
    """Work every row out by itself; one that fails, or whose numbers are none, is left out.

    Args:
        rows: The rows.
        work: Works one out.
        failed: What to say of one that failed, and what to do.
    """
    found: Kept[_Made] = Kept()

    def use(row: _Found) -> None:
        made = work(row)
        refuse_no_number(made)
        found.append(made)

    found.problems = tuple(dict.fromkeys(each(rows, use, failed)))
    return found


def at_once(
    rows: Sequence[_Found],
    work: Callable[[Sequence[_Found]], _Made],
    failed: Callable[[_Found], str],
) -> tuple[_Made, tuple[str, ...]]:
    """Work rows out together; where that fails, without those that fail by themselves.

    Args:
        rows: The rows.
        work: Works them out.
        failed: As in :func:`worked_out`.

    Returns:
        What they came to, and a sentence for each row that was left out.

    Raises:
        Exception: What was raised, where no row fails by itself.
    """
    try:
        return work(rows), ()
    except NOT_A_RECORDS:
        raise
    except Exception as fault:
        if isinstance(fault, Refusal) and not isinstance(fault, _OF_A_RECORD):
            raise
        sound = worked_out(rows, lambda row: (work([row]), row)[1], failed)
        if not sound.problems:
            raise
    return work(sound), sound.problems


def or_refuse(work: Callable[[], _Made], failed: str) -> _Made:
    """What one thing that was asked for came to.

    Args:
        work: Works it out.
        failed: What to say where that fails, and what to do.

    Raises:
        Conflict: It failed; the log has the fault.
    """
    try:
        return work()
    except (Refusal, *NOT_A_RECORDS):
        raise
    except Exception as fault:
        log_once(failed, fault)
        raise Conflict(failed) from fault


def or_instead(work: Callable[[], _Made], failed: str, instead: Callable[[], _Made]) -> _Made:
    """What one row came to, or what stands in its place.

    Args:
        work: Works it out.
        failed: What the log says where that fails.
        instead: Makes what stands there then.
    """
    try:
        return work()
    except NOT_A_RECORDS:
        raise
    except Exception as fault:
        log_once(failed, fault)
        return instead()


def refuse_no_number(made: object) -> None:
    """Raise where a value of a row is not finite, or not of its kind: it can't be shown."""
    if not is_dataclass(made):
        return
    refuse_other_types(made)
    for one in fields(made):
        value = getattr(made, one.name)
        if isinstance(value, float) and not math.isfinite(value):
            raise FloatingPointError(one.name, value)
        refuse_no_number(value)
