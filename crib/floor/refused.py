"""Why a count is kept aside: a reason for programs, a sentence for people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from crib.arrays import Bools, Floats, Ints
from crib.clock import instant_from_us, print_instant
from crib.floor.counter import most_parts, pair_pace
from crib.floor.line import Line
from crib.sentence import figure, sentence

#: Largest figure that any counter shows.
LARGEST = 10**12


@dataclass(frozen=True, slots=True)
class RefusedReading:
    """One reading of a batch that cannot be true.

    Args:
        index: Its place in the batch.
        reason: not_whole, negative, too_large, conflicting or too_fast.
        sentence: What is wrong and what to do.
    """

    index: int
    reason: str
    sentence: str


def impossible(at_us: Ints, count: npt.NDArray[Any]) -> tuple[Ints, list[RefusedReading]]:
    """Counts as whole numbers, and those that are none; these stand as 0."""
    if count.dtype.kind in "iu":
        wrong = (count > LARGEST) | (count < 0)
        whole = np.where(wrong, 0, count).astype(np.int64)
    else:
        figures = _figures(count)
        with np.errstate(invalid="ignore"):
            wrong = ~((figures >= 0) & (figures <= LARGEST) & (figures == np.floor(figures)))
        whole = np.where(wrong, 0, figures).astype(np.int64)
    refused = [_impossible_one(int(i), int(at_us[i]), count[i]) for i in np.flatnonzero(wrong)]
    return whole, refused


def _figures(count: npt.NDArray[Any]) -> Floats:
    """Floats of anything; NaN for what is no number."""
    if count.dtype.kind == "f":
        return count.astype(np.float64)
    return np.array([_figure(value) for value in count.tolist()], dtype=np.float64)


def _figure(value: object) -> float:
    if isinstance(value, bool | np.bool_) or not isinstance(value, int | float | np.number):
        return float("nan")
    try:
        return float(value)
    except OverflowError:
        return float("inf") if value > 0 else float("-inf")


def _impossible_one(index: int, at_us: int, value: object) -> RefusedReading:
    where = sentence("Count {value} at {print}", value=str(value)[:30], print=_print(at_us))
    number = _figure(value)
    if number < 0:
        return RefusedReading(
            index,
            "negative",
            sentence("{where} is below zero: look at the counter.", where=where),
        )
    if number > LARGEST:
        return RefusedReading(
            index, "too_large", sentence("{where} is more than any counter shows.", where=where)
        )
    return RefusedReading(
        index,
        "not_whole",
        sentence("{where} is not a whole number of parts: look at the counter.", where=where),
    )


def conflicting(index: int, at_us: int, count: int, other: int) -> RefusedReading:
    """A second count for an instant that has one."""
    return RefusedReading(
        index,
        "conflicting",
        sentence(
            "Count {count} at {print} contradicts count {other} at the same instant: "
            "one counter cannot say both. Check which path or item was read.",
            count=count,
            print=_print(at_us),
            other=other,
        ),
    )


def outlier(index: int, place: int, line: Line, keep: Bools) -> RefusedReading:
    """Why a reading left out of the plausible chain cannot be true beside its neighbours.

    Args:
        index: Its place in the batch.
        place: Its place among all readings in order.
        line: All readings.
        keep: Which of them are kept.
    """
    at_us, count = line.at_us, line.said
    kept = np.flatnonzero(keep)
    after = int(np.searchsorted(kept, place))
    neighbours = [int(kept[i]) for i in (after - 1, after) if 0 <= i < kept.size]
    for other in neighbours:
        if at_us[other] == at_us[place]:
            return conflicting(index, int(at_us[place]), int(count[place]), int(count[other]))
    for other in neighbours:
        left, right = np.array([min(other, place)]), np.array([max(other, place)])
        step = line.between(left, right)
        if not step.plausible[0]:
            pairs = pair_pace(line.pace.take(left), line.pace.take(right))
            return _too_fast(
                index,
                at_us,
                count,
                int(left[0]),
                int(right[0]),
                place,
                int(step.parts[0]),
                int(most_parts(at_us[right] - at_us[left], pairs)[0]),
            )
    return RefusedReading(
        index,
        "too_fast",
        sentence(
            "Count {count} at {print} does not fit the readings around it, which "
            "fit each other: held. Look at the counter.",
            count=count[place],
            print=_print(int(at_us[place])),
        ),
    )


def _too_fast(
    index: int,
    at_us: Ints,
    count: Ints,
    left: int,
    right: int,
    place: int,
    parts: int,
    most: int,
) -> RefusedReading:
    seconds = (at_us[right] - at_us[left]) / 1e6
    return RefusedReading(
        index,
        "too_fast",
        sentence(
            "Count {count} at {print} is held: from {count2} to {count3} would be "
            "{parts} parts in {seconds} s, the machine can make at most {most}. "
            "Look at the counter.",
            count=count[place],
            print=_print(int(at_us[place])),
            count2=count[left],
            count3=count[right],
            parts=parts,
            seconds=figure(seconds, ".0f"),
            most=most,
        ),
    )


def _print(at_us: int) -> str:
    return print_instant(instant_from_us(at_us))
