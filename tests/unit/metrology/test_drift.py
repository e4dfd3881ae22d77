"""A gauge's drift: its slope, how sure that is, and when the tolerance is used up."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from crib.errors import OutsideModel
from crib.metrology.drift import study_drift


@given(st.integers(0, 2**32 - 1), st.integers(3, 40))
def test_slope_and_error_are_those_of_a_general_library(seed: int, n: int) -> None:
    draw = np.random.default_rng(seed)
    days, bias = np.cumsum(draw.uniform(0.1, 2, n)), draw.normal(0, 0.001, n)

    found = study_drift(days, bias, 0.005)

    line = linregress(days, bias)
    assert found.slope_mm_per_day == pytest.approx(line.slope, rel=1e-7, abs=1e-12)
    assert found.slope_se_mm_per_day == pytest.approx(line.stderr, rel=1e-6, abs=1e-12)
    assert found.drifts == (line.pvalue < 0.05)
    assert found.bias_mm == pytest.approx(line.intercept + line.slope * days[-1], abs=1e-9)


@pytest.mark.parametrize("way", [1, -1])
def test_the_day_on_which_the_tolerance_is_used_up(way: int) -> None:
    days = np.arange(8.0)
    bias = way * (0.001 + 0.0005 * days + 0.00001 * (-1) ** days)

    found = study_drift(days, bias, 0.0085)

    assert found.drifts
    assert found.used_up_in_days == pytest.approx((0.0085 - 0.0045) / 0.0005, rel=0.02)
    assert found.used_up_earliest_in_days is not None
    assert 7 < found.used_up_earliest_in_days < found.used_up_in_days


def test_a_gauge_beyond_its_limit_has_no_days_left() -> None:
    days = np.arange(6.0)

    found = study_drift(days, 0.002 * days + 0.0001 * (-1) ** days, 0.005)

    assert found.used_up_in_days == 0


def test_scatter_alone_is_no_drift() -> None:
    found = study_drift([0, 1, 2, 3, 4], [0.001, -0.001, 0.001, -0.001, 0.001], 0.005)

    assert found.drifts is False
    assert found.used_up_in_days is None


def test_two_checks_cannot_tell() -> None:
    found = study_drift([0, 2], [0.0, 0.001], 0.005)

    assert found.slope_mm_per_day == pytest.approx(0.0005)
    assert (found.slope_se_mm_per_day, found.drifts, found.used_up_in_days) == (None,) * 3


def test_equal_bias_at_every_check_is_no_drift() -> None:
    assert study_drift([0, 1, 2], [0.001] * 3, 0.005).drifts is False


def test_what_is_no_study_is_refused() -> None:
    with pytest.raises(OutsideModel, match="different times"):
        study_drift([1, 1, 1], [0, 0, 0], 0.005)
    with pytest.raises(OutsideModel, match="one finite bias"):
        study_drift([1, 2], [0, math.nan], 0.005)
    with pytest.raises(OutsideModel, match="limit"):
        study_drift([1, 2], [0, 0], 0.0)
