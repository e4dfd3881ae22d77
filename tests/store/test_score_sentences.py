"""Scores of forecasts in words."""

from datetime import UTC, datetime

import pytest

from crib.life.as_long import SHORTER, TOO_FEW, AsLong
from crib.life.held import judge
from crib.views.lives_as_forecast import lives_as_forecast
from crib.views.score_forecasts import score_sentence

QUIET = judge(0.95, 0.95, 100.0)
NONE = judge(0.0, 0.0, 0.0)
SINCE = datetime(2026, 3, 1, tzinfo=UTC)
UNTOLD = lives_as_forecast(AsLong(0.0, 0, None, None, 1.0, TOO_FEW, 0), SINCE)


def test_intervals_that_cannot_be_judged_say_why_though_many_edges_came_out():
    said = score_sentence("M1", 88, judge(0.8, 0.5, 0.6), QUIET, QUIET, None, UNTOLD)

    assert said == (
        "M1: too few lives to judge our ranges. Edges out: 88, most of them too early to judge."
    )
    assert score_sentence("M1", 0, NONE, NONE, NONE, None, UNTOLD).endswith(
        "No edge has come out."
    )


def test_intervals_that_can_be_judged_say_what_they_stand_on():
    said = score_sentence("M1", 88, judge(0.8, 0.75, 40.0), NONE, NONE, 1.3, UNTOLD)

    assert said.startswith(
        "M1: our 80 % ranges held 75 % of the time: as good as they claim. Judged on 40 edges; "
    )
    assert said.endswith("would be chance. Its ranges are now 1.3 times as wide.")


@pytest.mark.parametrize("place", [0, 1])
def test_a_promise_to_last_that_was_too_sure_is_told_whatever_is_known_of_lives(place):
    sure = [QUIET, QUIET]
    sure[place] = judge(0.979, 0.9525, 253.0)
    what = ("the shift", "the next unattended stretch")[place]

    said = score_sentence("2026-11", 272, judge(0.8, 0.5, 0.6), *sure, None, UNTOLD)

    assert said.endswith(f"For {what} we were too sure: we forecast 97.9 %, 95.2 % lasted.")
    assert "too sure" not in score_sentence("2026-11", 272, NONE, QUIET, QUIET, None, UNTOLD)


def test_lives_that_were_shorter_than_forecast_are_said_with_how_much():
    short = lives_as_forecast(AsLong(20.4, 41, 38.0, 0.8, 900.0, SHORTER, 0), SINCE)

    said = score_sentence("M1", 88, judge(0.8, 0.75, 40.0), QUIET, QUIET, None, short)

    assert said.endswith(
        "Edges lasted about 20 % shorter than forecast. Failures: 41, expected: 20. "
        "Swap earlier until the forecasts fit again."
    )
