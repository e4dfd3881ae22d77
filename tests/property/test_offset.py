"""Offsets stay exact: nothing is lost between the bench and the control."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import Invalid
from crib.metrology.offset import (
    MAPPINGS,
    StationGeometry,
    apply_correction,
    difference,
    key_in_text,
    keyed_tenths_um,
    offsets_to_key_in,
)
from crib.metrology.preset import mean_tenths_um
from crib.units import (
    in_from_tenths_um,
    mm_from_tenths_um,
    tenths_um_from_in,
    tenths_um_from_mm,
)

lengths = st.integers(-5_000_000, 5_000_000)
units = st.sampled_from(["mm", "in"])
increments = st.sampled_from([1, 5, 10, 13, 25, 100])
geometries = st.builds(
    StationGeometry,
    *[st.sampled_from([None, *MAPPINGS])] * 3,
    *[lengths] * 3,
    st.booleans(),
    units,
    increments,
)
measures = st.fixed_dictionaries({"LF": lengths, "WF": lengths, "HF": lengths})


@given(lengths)
def test_millimetres_survive_text_exactly(length):
    assert tenths_um_from_mm(mm_from_tenths_um(length)) == length


@given(lengths)
def test_inches_are_off_by_half_their_last_place_at_most(length):
    text = in_from_tenths_um(length)

    assert abs(Decimal(text) * 254_000 - length) <= Decimal("1.27")
    assert in_from_tenths_um(tenths_um_from_in(text)) == text


@given(lengths, units, increments)
def test_a_keyed_figure_is_the_nearest_that_the_control_takes(length, unit, increment):
    text = key_in_text(length, unit, increment)
    held = keyed_tenths_um(length, unit, increment)

    step = increment if unit == "mm" else max(1, round(increment / 2.54)) * 2.54
    assert abs(held - length) <= step / 2 + 0.5
    assert keyed_tenths_um(held, unit, increment) == held
    assert key_in_text(held, unit, increment) == text
    assert (text[0] in "+-") == (Decimal(text) != 0)
    places = {len(key_in_text(one, unit, increment).split(".")[1]) for one in (0, length, held)}
    assert len(places) == 1  # by the control alone, not by the figure
    assert Decimal(text) * 10 ** places.pop() % 1 == 0


@given(measures, geometries)
def test_mirroring_a_station_mirrors_its_offsets(taken, geometry):
    offsets = offsets_to_key_in(taken, geometry)
    turned = StationGeometry(
        *(
            None if mapping is None else {"+": "-", "-": "+"}[mapping[0]] + mapping[1:]
            for _, mapping, _ in geometry.axes()
        ),
        *(-datum for _, _, datum in geometry.axes()),
        geometry.x_on_diameter,
        geometry.offset_unit,
        geometry.offset_increment_tenths_um,
    )

    mirrored = offsets_to_key_in(taken, turned)

    assert [offset.value_tenths_um for offset in mirrored] == [
        -offset.value_tenths_um for offset in offsets
    ]
    for offset, other in zip(offsets, mirrored, strict=True):
        assert offset.text.lstrip("+-") == other.text.lstrip("+-")


@given(measures, measures, geometries)
def test_the_difference_leads_from_the_old_figures_to_the_new(before, after, geometry):
    old, new = offsets_to_key_in(before, geometry), offsets_to_key_in(after, geometry)

    changes = difference(new, old)

    assert [change.axis for change in changes] == [offset.axis for offset in new]
    for change, here, there in zip(changes, new, old, strict=True):
        assert there.value_tenths_um + change.change_tenths_um == here.value_tenths_um


@given(measures, geometries, lengths)
def test_a_step_is_taken_exactly_or_not_at_all(taken, geometry, change):
    increment = geometry.offset_increment_tenths_um
    for offset in offsets_to_key_in(taken, geometry):
        held = keyed_tenths_um(change, offset.unit, increment)
        if held == change:
            moved = apply_correction(offset, change, increment)
            assert moved.value_tenths_um - offset.value_tenths_um == change
            back = apply_correction(moved, -change, increment)
            assert back == offset
        else:
            with pytest.raises(Invalid, match="finer than this control takes"):
                apply_correction(offset, change, increment)


@given(st.lists(lengths, min_size=1, max_size=50))
def test_the_mean_is_the_nearest_exact_length(values):
    mean = mean_tenths_um(values)

    exact = Decimal(sum(values)) / len(values)
    assert abs(mean - exact) <= Decimal("0.5000001")
    assert mean_tenths_um([-value for value in values]) == -mean
