"""Spread, combination, coverage and guard band."""

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.metrology.series import judge_series
from crib.metrology.uncertainty import (
    conforms,
    coverage_factor,
    sample_statistics,
)


def test_many_series_at_once_are_the_same_as_one_by_one():
    table = np.random.default_rng(5).normal(80.0, 0.002, (7, 4))

    together = sample_statistics(table)

    for row, mean, deviation in zip(
        table, together.mean, together.standard_deviation, strict=True
    ):
        assert mean == pytest.approx(np.mean(row), abs=1e-12)
        assert deviation == pytest.approx(np.std(row, ddof=1), abs=1e-12)


def test_one_reading_has_no_deviation():
    statistics = sample_statistics([80.0])

    assert statistics.mean == 80.0
    assert np.isnan(statistics.standard_deviation)


@pytest.mark.parametrize("bad", [[], [np.nan, 1.0], [np.inf], 3.0])
def test_readings_that_are_none_are_refused(bad):
    with pytest.raises(OutsideModel):
        sample_statistics(bad)


@pytest.mark.parametrize(("freedom", "level"), [(0, 0.95), (9, 1.0), (9, 0.0)])
def test_a_coverage_factor_outside_its_range_is_refused(freedom, level):
    with pytest.raises(OutsideModel):
        coverage_factor(freedom, level)


def test_a_guard_band_wider_than_the_tolerance_accepts_nothing():
    assert not conforms(10.0, 9.99, 10.01, 0.02)


def test_a_steady_series_is_accepted_and_a_loose_one_is_not():
    steady = judge_series([10.0, 10.001, 10.002], 0.01)
    loose = judge_series([10.0, 10.01, 10.02], 0.01)

    assert steady.accepted is True
    assert steady.standard_deviation_mm == pytest.approx(0.001)
    # t for 2 degrees of freedom at 95.45 %: JCGM 100:2008, table G.2
    few = 4.53 * 0.001 / np.sqrt(3)
    assert steady.expanded_uncertainty_mm == pytest.approx(
        np.hypot(few, 2 * np.hypot(0.001, 0.001 / np.sqrt(12))), rel=1e-3
    )
    assert loose.accepted is False


def test_the_gauge_alone_can_spoil_a_series():
    assert judge_series([10.0, 10.001, 10.002], 0.01, 0.005).accepted is False


def test_one_reading_alone_gets_no_verdict():
    alone = judge_series([10.0], 0.01)

    assert (alone.mean_mm, alone.type_a_mm, alone.accepted) == (10.0, None, None)


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan"), float("inf")])
def test_a_series_needs_a_tolerance(tolerance):
    with pytest.raises(OutsideModel, match="above zero"):
        judge_series([10.0, 10.0], tolerance)


def test_a_series_tells_its_two_kinds_of_uncertainty():
    found = judge_series([10.0, 10.001, 10.002], 0.01, 0.002)

    assert found.type_a_mm == pytest.approx(0.001 / np.sqrt(3))
    assert found.expanded_uncertainty_mm == pytest.approx(
        np.hypot(4.53 * found.type_a_mm, 2 * np.hypot(0.002, 0.001 / np.sqrt(12))), rel=1e-3
    )


def test_a_gauge_of_which_nothing_is_said_is_not_taken_for_a_perfect_one():
    unsaid = judge_series([10.0] * 5, 0.01)

    # common practice, no source: 0.001 mm for gauge and master, a step of 0.001 mm
    assert unsaid.budget.combined == pytest.approx(
        np.hypot(0.001, 0.001 / np.sqrt(12) * np.sqrt(1 + 1 / 5))
    )
    with pytest.raises(OutsideModel, match="Every contribution is zero"):
        judge_series([10.0] * 5, 0.01, 0.0, 0.0)
