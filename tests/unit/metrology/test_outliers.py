"""The outlier among repeats is named, and never where chance puts one so far."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import OutsideModel
from crib.metrology.outliers import find_outlier, grubbs_critical


def test_the_reading_that_does_not_belong_is_named_by_its_number() -> None:
    found = find_outlier([80.0011, 80.0012, 80.0310, 80.0010, 80.0012], name="LF")

    assert found is not None
    assert found.reading == 3
    assert found.value_mm == 80.0310
    assert "LF: reading 3 (80.0310 mm)" in found.sentence
    assert "measure again" in found.sentence


def test_repeats_that_belong_together_have_none() -> None:
    assert find_outlier([80.001, 80.002, 80.003, 80.002]) is None
    assert find_outlier([80.0, 80.0, 80.0]) is None
    assert find_outlier([80.0, 90.0]) is None  # two cannot say which of them is wrong


def test_a_step_of_the_display_is_no_outlier() -> None:
    values = [80.001, 80.001, 80.001, 80.002]

    assert find_outlier(values) is not None
    assert find_outlier(values, usual_mm=0.001) is None


def test_good_series_are_accused_in_about_one_of_twenty() -> None:
    draw = np.random.default_rng(11)
    accused = [find_outlier(draw.normal(0, 1, 8).tolist()) is not None for _ in range(4_000)]

    # four deviations of a binomial at 5 %
    assert abs(np.mean(accused) - 0.05) < 4 * math.sqrt(0.05 * 0.95 / 4_000)


@given(
    st.lists(st.integers(-50, 50), min_size=3, max_size=12),
    st.floats(0.01, 100),
    st.floats(-1000, 1000),
)
def test_neither_unit_nor_zero_point_changes_who_is_named(
    values: list[int], factor: float, zero: float
) -> None:
    plain = find_outlier(values)
    moved = find_outlier([value * factor + zero for value in values])
    n = len(values)
    close = plain is not None and math.isclose(plain.grubbs, grubbs_critical(n), rel_tol=1e-6)

    if not close:
        assert (plain and values[plain.reading - 1]) == (moved and values[moved.reading - 1])


def test_what_cannot_be_tested_is_refused() -> None:
    with pytest.raises(OutsideModel, match="no readings"):
        find_outlier([])
    with pytest.raises(OutsideModel, match="finite"):
        find_outlier([1.0, math.nan, 2.0])
    with pytest.raises(OutsideModel, match="usually scatter"):
        find_outlier([1.0, 2.0, 3.0], usual_mm=-1.0)
    with pytest.raises(OutsideModel, match="three repeats"):
        grubbs_critical(2)
