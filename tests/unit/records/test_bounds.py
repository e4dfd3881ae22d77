"""Every number that a shop gives has bounds, and a refusal says them and guesses the slip."""

from __future__ import annotations

import math

import pytest

from crib.errors import Invalid
from crib.records.catalogue import CATALOGUE, PARTS, TOOL_SPECS
from crib.records.catalogue import MACHINES as MACHINE_RECORD
from crib.records.columns import Column
from crib.records.measures import FLANK_WEAR, LF, OF_FACTS, refuse_implausible
from crib.records.values import print_cell, read_cell
from crib.store.bounds import numbers_of

NUMBERS = [
    pytest.param(column, id=f"{name}.{column.name}")
    for name, columns in [
        *((record.name, record.columns) for record in CATALOGUE),
        *OF_FACTS.items(),
    ]
    for column in numbers_of(columns)
]


def cell(column: Column, value: float) -> str:
    return print_cell(column, round(value * column.scale) if column.scale > 1 else value)


@pytest.mark.parametrize("column", NUMBERS)
def test_every_number_has_bounds_on_both_sides_and_says_where_they_come_from(column):
    assert math.isfinite(column.minimum)
    assert math.isfinite(column.maximum)
    assert column.source
    if column.kind == "number":
        assert column.minimum > 0, "a float near 0 is no measure; say zero=True where 0 is none"
    low, high = column.usual or (column.maximum, column.maximum)
    assert column.bounds.admits(low)
    assert column.bounds.admits(high)


@pytest.mark.parametrize("column", NUMBERS)
def test_a_cell_is_taken_up_to_both_bounds_and_no_farther(column):
    step = 1 / column.scale if column.kind != "number" else column.minimum / 2
    for value in (column.minimum, column.maximum):
        read_cell(column, cell(column, value))
    for value in (column.minimum - step, column.maximum + max(step, column.maximum / 1e6)):
        if column.zero and value == 0:
            continue
        text = f"{value:.0f}" if column.kind == "integer" else cell(column, value)
        with pytest.raises(Invalid, match=r"is not plausible|is longer than any tool"):
            read_cell(column, text)
    if column.kind == "number":
        for text in ("5e-324", "1e308", "-1"):
            with pytest.raises(Invalid, match="is not plausible"):
                read_cell(column, text)


@pytest.mark.parametrize(
    ("column", "written", "meant"),
    [
        (FLANK_WEAR, "12", "0.12"),
        (FLANK_WEAR, "300", "0.3"),
        (TOOL_SPECS.column("wear_limit_mm"), "300", "0.3"),
        (MACHINE_RECORD.column("bar_length_mm"), "3", "3000"),
        (PARTS.column("bar_diameter_mm"), "12000", "12"),
        (LF, "80000", "80"),
    ],
)
def test_a_likely_slip_is_asked_about(column, written, meant):
    with pytest.raises(Invalid) as refusal:
        read_cell(column, written)

    assert refusal.value.sentence.endswith(f" Did you mean {meant}?")
    assert f"at most {column.maximum:g}" in refusal.value.sentence


def test_no_slip_is_guessed_where_none_is_likely():
    with pytest.raises(Invalid) as refusal:
        read_cell(TOOL_SPECS.column("wear_limit_mm"), "1e9")

    assert "Did you mean" not in refusal.value.sentence


def test_a_measure_is_refused_in_a_sentence():
    with pytest.raises(Invalid) as refusal:
        refuse_implausible(FLANK_WEAR, 120_000, "Flank wear")

    assert refusal.value.sentence == (
        "Flank wear of 12 mm is not plausible; from 0 to 5 mm is. Did you mean 0.12?"
    )
