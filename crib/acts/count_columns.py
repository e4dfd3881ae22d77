"""Counter readings as columns: instants of a whole batch read at once, bad ones named."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Ints
from crib.clock import instant_from_us, parse_instant, print_instant, us_from_instant
from crib.errors import Invalid
from crib.sentence import sentence

_Any = TypeVar("_Any")


@dataclass(frozen=True, slots=True)
class CountReading:
    """One reading: when, what the counter said, the run that it names, if any.

    ``source`` says which counter it is of: another one's value is no part made; ``path``
    which path it counts, where the machine has a counter for each.
    """

    at: datetime
    count: int
    run: str | int | None = None
    source: str | None = None
    path: int | None = None


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A reading whose instant cannot be read: its place, a reason, a sentence."""

    index: int
    reason: str
    sentence: str


@dataclass(frozen=True, slots=True, eq=False)
class CountColumns:
    """A batch of readings.

    Attributes:
        at_us: Instants [µs since 1970], 0 where unreadable, shape (batch,).
        count: What the counter said: whole numbers, or objects where some are none.
        run: The run that each names, None where it names none; None where none does.
        unreadable: Readings without a readable instant.
        raw: The readings as they came, for those that are kept aside.
        source: The counter that each is of, None where it names none; None where none does.
        path: The path that each counts, None where it names none; None where none does.
    """

    at_us: Ints
    count: NDArray[Any]
    run: Sequence[str | int | None] | None
    unreadable: tuple[Unreadable, ...] = ()
    raw: Sequence[Mapping[str, object]] | None = None
    source: Sequence[str | None] | None = None
    path: Sequence[object] | None = None

    def __len__(self) -> int:
        return int(self.at_us.size)

    def reading(self, index: int) -> dict[str, object]:
        """One reading as received."""
        if self.raw is not None:
            return dict(self.raw[index])
        count = self.count[index]
        found: dict[str, object] = {
            "at": print_instant(instant_from_us(int(self.at_us[index]))),
            "count": count.item() if isinstance(count, np.generic) else count,
        }
        if self.run is not None and self.run[index] is not None:
            found["run"] = self.run[index]
        if self.path is not None and self.path[index] is not None:
            found["path"] = self.path[index]
        return found

    def only(self, places: Sequence[int]) -> CountColumns:
        """The readings at some places, in their order."""
        if len(places) == len(self):
            return self

        def chosen(column: Sequence[_Any] | None) -> list[_Any] | None:
            return None if column is None else [column[place] for place in places]

        new = {place: index for index, place in enumerate(places)}
        return CountColumns(
            self.at_us[list(places)],
            self.count[list(places)],
            chosen(self.run),
            tuple(
                Unreadable(new[one.index], one.reason, one.sentence)
                for one in self.unreadable
                if one.index in new
            ),
            chosen(self.raw),
            chosen(self.source),
            chosen(self.path),
        )


def columns_from_readings(readings: Sequence[CountReading]) -> CountColumns:
    """Columns of readings whose instants are known.

    Raises:
        ValueError: A naive instant.
    """
    runs = [reading.run for reading in readings]
    sources = [reading.source for reading in readings]
    paths = [reading.path for reading in readings]
    return CountColumns(
        np.fromiter(
            (us_from_instant(reading.at) for reading in readings), np.int64, len(readings)
        ),
        _counts([reading.count for reading in readings]),
        runs if any(run is not None for run in runs) else None,
        source=sources if any(source is not None for source in sources) else None,
        path=paths if any(path is not None for path in paths) else None,
    )


def columns_from_json(readings: Sequence[Mapping[str, Any]]) -> CountColumns:
    """Columns of readings as JSON gave them: ``{"at", "count", "run"?, "path"?}``.

    Instants that are all written alike are read at once, others one by one.
    """
    texts = [reading.get("at") for reading in readings]
    runs = [reading.get("run") for reading in readings]
    paths = [reading.get("path") for reading in readings]
    at_us = _alike(texts)
    unreadable: list[Unreadable] = []
    if at_us is None:
        at_us = np.zeros(len(texts), dtype=np.int64)
        for index, text in enumerate(texts):
            try:
                at_us[index] = us_from_instant(parse_instant(_text(text)))
            except Invalid as problem:
                unreadable.append(Unreadable(index, "not_an_instant", problem.sentence))
    return CountColumns(
        at_us,
        _counts([reading.get("count") for reading in readings]),
        runs if any(run is not None for run in runs) else None,
        tuple(unreadable),
        readings,
        path=paths if any(path is not None for path in paths) else None,
    )


def _text(value: object) -> str:
    if isinstance(value, str):
        return value
    raise Invalid(
        sentence(
            "{value} is not an instant: write it like 2026-03-29T01:30:00Z.",
            value=str(value)[:30],
        )
    )


def _counts(values: Sequence[object]) -> NDArray[Any]:
    """Whole numbers where all are; objects otherwise, so that each can be judged."""
    if set(map(type, values)) <= {int}:
        try:
            return np.array(values, dtype=np.int64)
        except OverflowError:
            pass
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column


_EARLIEST_US = us_from_instant(datetime.min.replace(tzinfo=UTC))
_LATEST_US = us_from_instant(datetime.max.replace(tzinfo=UTC))
_SHAPE = "0000-00-00T00:00:00"
_DIGITS = [place for place, mark in enumerate(_SHAPE) if mark == "0"]
_MARKS = {place: ord(mark) for place, mark in enumerate(_SHAPE) if mark != "0"}


def _alike(texts: list[Any]) -> Ints | None:
    """Instants of texts that all have one length and shape; None where they do not."""
    if not texts or set(map(type, texts)) != {str}:
        return None
    length = len(texts[0])
    if set(map(len, texts)) != {length} or length < len(_SHAPE) + 1:
        return None
    column = np.array(texts)
    marks = column.view(np.uint32).reshape(len(texts), -1)
    if marks.shape[1] != length:
        return None  # a text ends in NUL, which numpy drops
    offset_us = _offset_us(marks)
    if offset_us is None:
        return None
    tail = 1 if marks[0, -1] == ord("Z") else 6
    digits = [*_DIGITS, *range(len(_SHAPE) + 1, length - tail)]
    fraction = length - tail - len(_SHAPE)
    if fraction == 1 or fraction > 7 or not _are_digits(marks[:, digits]):
        return None
    signs = _MARKS if fraction == 0 else {**_MARKS, len(_SHAPE): ord(".")}
    if any((marks[:, place] != mark).any() for place, mark in signs.items()):
        return None
    try:
        local = column.astype(f"U{length - tail}").astype("datetime64[us]")
    except ValueError:
        return None  # a thirteenth month: found out one by one
    at_us = np.asarray(local.astype(np.int64) - offset_us)
    if at_us.size and (at_us.min() < _EARLIEST_US or at_us.max() > _LATEST_US):
        return None  # an offset leads out of the calendar: found out one by one
    return at_us


def _are_digits(marks: NDArray[np.uint32]) -> bool:
    return bool(((marks >= ord("0")) & (marks <= ord("9"))).all())


def _offset_us(marks: NDArray[np.uint32]) -> Ints | int | None:
    """Offsets of texts that end in Z, or in ±HH:MM; None where they end otherwise."""
    if (marks[:, -1] == ord("Z")).all():
        return 0
    tail = marks[:, -6:]
    sign = np.where(tail[:, 0] == ord("-"), -1, 1)
    if (
        not np.isin(tail[:, 0], (ord("+"), ord("-"))).all()
        or (tail[:, 3] != ord(":")).any()
        or not _are_digits(tail[:, [1, 2, 4, 5]])
    ):
        return None
    figures = tail[:, [1, 2, 4, 5]].astype(np.int64) - ord("0")
    minutes = figures @ np.array([600, 60, 10, 1])
    if (minutes >= 24 * 60).any() or (figures[:, 2] > 5).any():
        return None
    return np.asarray(sign * minutes * 60_000_000, dtype=np.int64)
