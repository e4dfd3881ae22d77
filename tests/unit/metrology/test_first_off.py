"""From steps at the control to the datum of a station, in its units and since its record."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import OutsideModel
from crib.metrology.first_off import MOST_STAYS, AxisStay, follow_axis, look_at_axis
from crib.metrology.offset import (
    LearnedDatum,
    StationGeometry,
    keyed_tenths_um,
    offsets_to_key_in,
)
from crib.units import TenthsUm

RECORDED = 100_000
REACH = 160_000


def stay(told: int, step: int | None, factor: int = 2, reach: int = REACH) -> AxisStay:
    """A stay that was told a datum [0.1 µm] and stepped by so much at the control."""
    return AxisStay(
        TenthsUm(factor * (told + reach)),
        None if step is None else TenthsUm(step),
        TenthsUm(reach),
        0.001,
    )


def looks(
    stays: list[AxisStay], *, on_diameter: bool = True, increment: int = 1
) -> list[float]:
    found = look_at_axis(stays, RECORDED, on_diameter=on_diameter, increment_tenths_um=1)
    return found.looks_mm.tolist()


def test_a_step_on_diameter_is_half_as_much_of_the_datum() -> None:
    assert looks([stay(RECORDED, -300)]) == pytest.approx([9.985])
    assert looks([stay(RECORDED, -300, factor=1)], on_diameter=False) == pytest.approx([9.97])


def test_a_reach_against_the_axis_counts_so() -> None:
    assert looks([stay(RECORDED, 100, factor=1, reach=-800_000)], on_diameter=False) == (
        pytest.approx([10.01])
    )


def test_what_was_told_beyond_the_record_is_part_of_what_was_seen() -> None:
    # told 0.0100 farther in and stepped back by 0.0040 of radius
    assert looks([stay(RECORDED, 0), stay(RECORDED - 100, 80)])[1] == pytest.approx(9.994)


def test_the_uncertainty_of_a_look_is_that_of_preset_first_off_and_rounding() -> None:
    found = look_at_axis(
        [stay(RECORDED, 0)], RECORDED, on_diameter=True, increment_tenths_um=100
    )

    # 0.001 and 0.002, and a step of 0.01 mm on diameter: 0.005 / sqrt(12) of radius
    assert found.sd_mm[0] ** 2 == pytest.approx(0.001**2 + 0.002**2 + 0.005**2 / 12)


def test_stays_before_the_record_was_changed_do_not_count() -> None:
    before = [stay(RECORDED - 5_000, 200)] * 3
    since = [stay(RECORDED, -40)] * 2

    changed = follow_axis(before + since, RECORDED, on_diameter=True, increment_tenths_um=10)
    never_used = follow_axis(before, RECORDED, on_diameter=True, increment_tenths_um=10)

    assert (changed.first, changed.looks) == (3, 2)
    assert changed.shift_tenths_um == pytest.approx(-20, abs=1)
    assert (never_used.first, never_used.looks, never_used.shift_tenths_um) == (3, 0, 0.0)


def test_a_station_without_first_offs_keeps_its_record_exactly() -> None:
    for stays in ([], [stay(RECORDED, None)] * 5):
        told = follow_axis(stays, RECORDED, on_diameter=True, increment_tenths_um=10)

        assert told.shift_tenths_um == 0.0
        assert not told.doubtful


def test_a_long_history_speaks_through_its_newest_stays() -> None:
    # told and found 0.0150 farther in for a long time
    stays = [stay(RECORDED, -300), *[stay(RECORDED - 150, 0)] * (2 * MOST_STAYS)]

    told = follow_axis(stays, RECORDED, on_diameter=True, increment_tenths_um=10)

    assert told.first == len(stays) - MOST_STAYS
    assert told.shift_tenths_um == pytest.approx(-150, abs=0.01)


@given(
    st.floats(-50_000, 50_000),
    st.sampled_from([("mm", 1), ("mm", 10), ("mm", 50), ("in", 1), ("in", 25)]),
    st.booleans(),
)
def test_the_figure_told_is_rounded_once_to_what_the_control_holds(
    shift: float, control: tuple[str, int], on_diameter: bool
) -> None:
    unit, increment = control
    geometry = StationGeometry(
        "+WF",
        datum_x_tenths_um=TenthsUm(RECORDED),
        x_on_diameter=on_diameter,
        offset_unit=unit,
        offset_increment_tenths_um=TenthsUm(increment),
    )
    learned = {"X": LearnedDatum(shift, 0.004)}

    (x,) = offsets_to_key_in({"WF": REACH}, geometry, {"WF": 0.003}, learned)

    factor = 2 if on_diameter else 1
    exact = factor * (RECORDED + REACH + shift)
    # one step of the control is at most half a step away, and inches half a 0.1 µm more
    least = max(increment, 2.54) if unit == "in" else increment
    assert abs(x.value_tenths_um - exact) <= least / 2 + (1.3 if unit == "in" else 1e-6)
    assert keyed_tenths_um(x.value_tenths_um, unit, increment) == x.value_tenths_um
    assert isinstance(x.value_tenths_um, int)
    assert x.expanded_uncertainty_mm == pytest.approx(factor * 0.005)


def test_a_control_without_a_step_is_refused() -> None:
    with pytest.raises(OutsideModel, match="least step"):
        follow_axis([], RECORDED, on_diameter=True, increment_tenths_um=0)


def test_stays_count_from_the_record_or_from_what_the_oldest_of_them_went_by() -> None:
    def start(stays: list[AxisStay]) -> float:
        found = look_at_axis(stays, RECORDED, on_diameter=True, increment_tenths_um=10)
        return found.start_mm

    # within a step of the control it is the record itself
    assert start([stay(RECORDED + 4, 0)]) == 10.0
    # only so many are looked at: the oldest of them was told another datum than the record's
    many = [stay(RECORDED, 0), *[stay(RECORDED - 300, 0)] * MOST_STAYS]
    assert start(many) == pytest.approx(9.97)
