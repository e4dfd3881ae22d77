"""The factor on nights ahead follows how earlier ones went, slowly and within bounds."""

from __future__ import annotations

import pytest

from crib.planning.night_scale import night_scale


def test_without_any_night_the_forecast_stands() -> None:
    assert night_scale([], []) == 1.0


def test_nights_that_went_as_forecast_change_nothing() -> None:
    assert night_scale([0.02] * 500, [True] * 10 + [False] * 490) == pytest.approx(1.0)


def test_half_as_many_failures_as_forecast_bring_the_factor_near_a_half() -> None:
    # 400 machine-nights at 5 %: 20 expected and 10 seen, with a prior worth 2: 12 / 22
    assert night_scale([0.05] * 400, [True] * 10 + [False] * 390) == pytest.approx(12 / 22)


def test_one_quiet_week_hardly_moves_it() -> None:
    assert night_scale([0.02] * 7, [False] * 7) == pytest.approx(2 / 2.14)


def test_it_stays_within_bounds_however_the_nights_went() -> None:
    assert night_scale([0.5] * 1000, [False] * 1000) == 0.3
    assert night_scale([0.001] * 100, [True] * 100) == 1.5
