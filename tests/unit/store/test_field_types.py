"""A field of a row holds what its type says, or the row is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple, NewType

import pytest

from crib.errors import Damaged
from crib.store.field_types import refuse_other_types, without_other_types

Tenths = NewType("Tenths", int)
AT = datetime(2026, 11, 2, tzinfo=UTC)


class Row(NamedTuple):
    parts: int | None = 3
    minutes: float | None = 1.5
    name: str = "T01"
    length: Tenths | None = Tenths(1000)
    at: datetime = AT
    more: Mapping[str, int] | None = None
    anything: object = None
    many: tuple[int, ...] = ()


@dataclass(frozen=True)
class Record:
    parts: int | None = 3


@pytest.mark.parametrize(
    "row",
    [
        Row(), Row(parts=None, minutes=None, length=None), Row(minutes=2), Row(more={"M1": 2}),
        Row(anything="x"), Row(many=("x",)), Record(), Record(None),
    ],
)  # fmt: skip
def test_a_row_of_what_its_types_say_is_left_as_it_is(row):
    refuse_other_types(row)

    assert without_other_types(row) is row


@pytest.mark.parametrize(
    ("row", "field"),
    [
        (Row(parts="x"), "parts"), (Row(parts=1.5), "parts"), (Row(minutes="x"), "minutes"),
        (Row(name=5), "name"), (Row(length="x"), "length"), (Row(at=5), "at"),
        (Row(more="x"), "more"), (Record("x"), "parts"),
    ],
)  # fmt: skip
def test_a_value_of_another_type_is_named_and_can_be_left_empty(row, field):
    with pytest.raises(Damaged) as refused:
        refuse_other_types(row)

    assert f"holds {getattr(row, field)} as {field}," in str(refused.value)
    emptied = without_other_types(row)
    assert getattr(emptied, field) is None
    refuse_other_types(emptied)


def test_a_long_value_is_shown_by_its_beginning():
    with pytest.raises(Damaged) as refused:
        refuse_other_types(Record("x" * 1000))

    assert "x" * 60 + " as parts" in str(refused.value)
    assert "x" * 61 not in str(refused.value)
