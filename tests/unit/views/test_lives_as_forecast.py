"""Scores say whether edges lasted as long as forecast, in figures and in one sentence."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import pytest

from crib.clock import instant_from_us
from crib.views.score_forecasts import ForecastScore, scores_by
from tests.judged import judged_span

NOBODY: Any = None


def scored(factors: list[float], width: float = 1.0) -> ForecastScore:
    (score,) = scores_by(judged_span(factors, width), NOBODY, "shop").scores
    return score


@pytest.mark.parametrize(
    ("factor", "width", "verdict", "said"),
    [
        (1.0, 1.0, "as_forecast", "Edges lasted as long as forecast. Failures: 8"),
        (0.8, 1.0, "shorter", "shorter than forecast. Failures: 90, expected: 40."),
        (1.25, 1.0, "longer", "longer than forecast. Failures: "),
        (1.0, 1.9, "wider", "Lives scatter more than forecast. Failures: "),
        (1.0, 0.4, "narrower", "Lives scatter less than forecast. Failures: 90"),
    ],
)
def test_the_verdict_is_said_with_its_figures(factor, width, verdict, said):
    score = scored([factor] * 90, width)
    found = score.as_forecast

    assert found.verdict == verdict
    assert said in found.sentence
    assert (found.sentence in score.sentence) == (verdict != "as_forecast")
    assert found.failures_needed < 40
    if width == 1.0:
        assert found.life_factor == pytest.approx(factor, rel=0.08)


def test_shorter_lives_make_the_group_too_sure_and_say_what_to_do():
    score = scored([0.8] * 40)

    assert score.verdict == "too_sure"
    share = math.floor(abs(score.as_forecast.life_factor - 1) * 100 + 0.5)
    assert f"about {share} % shorter" in score.as_forecast.sentence
    assert score.as_forecast.sentence.endswith("Swap earlier until the forecasts fit again.")


def test_a_turn_for_the_worse_is_dated():
    score = scored([1.0] * 120 + [0.7] * 60)

    assert score.as_forecast.verdict == "shorter"
    assert score.as_forecast.since == instant_from_us(0) + timedelta(days=120)


def test_few_failures_say_how_many_it_takes():
    found = scored([0.8] * 3).as_forecast

    assert found.verdict == "too_few"
    more = math.ceil(found.failures_needed - found.failures_expected)
    assert more > 1
    assert found.sentence.endswith(f"It takes about {more} more to notice lives 20 % off.")
