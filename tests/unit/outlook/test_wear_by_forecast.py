"""Wear that edges made under each forecast in force, and the failures it expected of them."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.stats import weibull_min

from crib.life.as_long import WearMade, expected_failures
from crib.life.calibration import KEPT_PROBS
from crib.outlook.judged_forecasts import judge_forecasts
from crib.outlook.kept_outcomes import GOING_ON, Outcome
from crib.outlook.wear_by_forecast import BLOCK_US, wear_by_forecast
from crib.store.kept_rows import LAST, SHIFT, KeptForecast

LAW = weibull_min(3.0)


def hazard(age: float, until: float) -> float:
    """What the law puts between two ages, by scipy."""
    return float(LAW.logsf(age) - LAW.logsf(until))


def kept(edge: int, age: float, at_us: int = 0, **other: Any) -> KeptForecast:
    left = LAW.isf((1 - np.array(KEPT_PROBS)) * LAW.sf(age)) - age
    p10, p50, p90 = LAW.ppf([0.1, 0.5, 0.9])
    row = KeptForecast(
        at_us, at_us, SHIFT, edge, edge, age == 0, 1, "K", age, 1e-3, tuple(left.tolist()),
        at_us + 1, 0.9, None, None, None, p10, p50, p90, 1.0, None,
    )  # fmt: skip
    return row._replace(**other)


def outcome(good: float, failed: float = math.inf, unit: float = 1.0) -> Outcome:
    state = GOING_ON if math.isinf(failed) else "worn"
    over = None if math.isinf(failed) else 10
    return Outcome(state, 10, over, good, failed, None, unit=unit)


def made(*rows: tuple[KeptForecast, Outcome]) -> WearMade:
    judged = judge_forecasts([row for row, _ in rows], [end for _, end in rows], 10**12)
    return wear_by_forecast(judged, 0)


def test_each_forecast_expects_failures_of_the_wear_until_the_next_one() -> None:
    found = made(
        (kept(1, 0.0, 1), outcome(0.9, 0.9)),
        (kept(2, 0.3, 1), outcome(0.4)),
        (kept(1, 0.5, 2), outcome(0.4, 0.4)),
    )

    # between the quantiles of an edge in use the law is not quite straight
    told = [hazard(0, 0.5), hazard(0.3, 0.7), hazard(0.5, 0.9)]
    assert expected_failures(found) == pytest.approx(told, rel=0.02)
    assert found.failed.tolist() == [False, False, True]
    assert found.slope == pytest.approx([3.0] * 3)
    assert found.stage[2] == 2  # beyond the median


def test_stages_of_life_part_the_hazard_where_the_shares_are_reached() -> None:
    found = made((kept(1, 0.0), outcome(1.0)))

    ends = [0.0, *LAW.ppf([0.1, 0.5]), 1.0]
    told = [hazard(a, b) for a, b in pairwise(ends)]
    assert found.good[0] == pytest.approx([*told, 0.0], rel=1e-6)


def test_wear_is_counted_in_the_units_of_the_forecast_that_it_was_made_under() -> None:
    found = made(
        (kept(1, 0.0, 1), outcome(0.8, unit=1.0)),
        (kept(1, 0.8, 2), outcome(0.6, unit=2.0)),  # constants since then: twice the units
    )

    assert found.good.sum(axis=1)[0] == pytest.approx(hazard(0, 0.5), rel=1e-6)


def test_a_forecast_kept_because_the_edge_was_gone_expects_nothing() -> None:
    alone = made((kept(1, 0.0, 1), outcome(0.9, 0.9)))
    found = made(
        (kept(1, 0.0, 1), outcome(0.9, 0.9)),
        (kept(1, 0.5, 2, occasion=LAST), outcome(0.4, 0.4)),
    )

    assert expected_failures(found) == pytest.approx([*expected_failures(alone), 0.0])
    assert found.failed.tolist() == [True, False]


def test_an_unseen_failure_counts_for_the_last_forecast_of_a_good_edge() -> None:
    found = made(
        (kept(1, 0.0, 1), outcome(0.7, 1.1)),
        (kept(1, 0.7, 2), outcome(0.0, 0.4)),  # shown in the dark, good or not
    )

    assert found.failed.tolist() == [True, False]
    assert found.good.sum(axis=1) == pytest.approx([hazard(0, 0.7), 0.0], rel=1e-6)
    assert found.unseen.sum(axis=1) == pytest.approx([hazard(0.7, 1.1), 0.0], rel=1e-6)
    only = made((kept(1, 0.7, 2), outcome(0.0, 0.4)))  # where there was none before
    assert only.failed.tolist() == [True]


def test_forecasts_of_a_month_share_a_block() -> None:
    found = made(
        (kept(1, 0.0, 0), outcome(0.1)),
        (kept(2, 0.0, BLOCK_US - 1), outcome(0.1)),
        (kept(3, 0.0, 2 * BLOCK_US), outcome(0.1)),
    )

    assert found.block.tolist() == [0, 0, 2]


def test_nothing_kept_is_no_wear() -> None:
    assert len(made()) == 0
