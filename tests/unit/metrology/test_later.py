"""A gauge's presets against first-offs: offset and drift parted from the stations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import OutsideModel
from crib.metrology.later import compare_later


@given(st.integers(0, 2**32 - 1))
def test_the_coefficients_are_those_of_a_general_least_squares(seed: int) -> None:
    draw = np.random.default_rng(seed)
    n = 40
    stations, mine = draw.integers(0, 4, n), draw.random(n) < 0.5
    mine[:2], stations[:2] = (True, False), 0
    days = draw.uniform(-30, 0, n)
    values = 0.01 * stations + draw.normal(0, 0.003, n) + 0.004 * mine

    found = compare_later(values, stations, mine, days)

    since = np.where(mine, days - days[mine].mean(), 0.0)
    levels = (stations[:, None] == np.unique(stations)[None]).astype(float)
    design = np.column_stack([levels, mine, since])
    solved, squares, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    if rank < design.shape[1]:
        return
    cov = np.linalg.pinv(design.T @ design) * squares[0] / (n - rank)
    assert found.offset_mm is not None
    assert found.drift_mm_per_day is not None
    assert found.offset_mm.value == pytest.approx(solved[-2], abs=1e-10)
    assert found.offset_mm.standard_error == pytest.approx(math.sqrt(cov[-2, -2]), rel=1e-6)
    assert found.drift_mm_per_day.value == pytest.approx(solved[-1], abs=1e-10)


def test_with_one_gauge_only_its_drift_can_be_seen() -> None:
    days = np.arange(10.0)
    noise = 0.0002 * (-1) ** days

    found = compare_later(0.001 * days + noise, [0, 1] * 5, [True] * 10, days)

    assert found.first_offs == 10
    assert found.offset_mm is None
    assert found.drift_mm_per_day is not None
    assert found.drift_mm_per_day.value == pytest.approx(0.001, abs=0.0001)
    assert found.drift_mm_per_day.beyond_chance


def test_too_few_first_offs_tell_nothing() -> None:
    assert compare_later([], [], [], []).first_offs == 0
    assert compare_later([0.1], [0], [False], [1.0]).first_offs == 0
    one = compare_later([0.1], [0], [True], [1.0])
    assert (one.first_offs, one.offset_mm, one.drift_mm_per_day) == (1, None, None)
    two = compare_later([0.1, 0.2], [0, 0], [True, True], [1.0, 2.0])
    assert two.drift_mm_per_day is None  # a line through two points judges nothing


def test_what_is_no_comparison_is_refused() -> None:
    with pytest.raises(OutsideModel, match="one residual"):
        compare_later([0.1], [0, 1], [True], [1.0])
    with pytest.raises(OutsideModel, match="finite"):
        compare_later([math.inf], [0], [True], [1.0])
