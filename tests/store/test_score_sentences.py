"""Scores of forecasts in words."""

import pytest

from crib.life.held import judge
from crib.views.score_forecasts import score_sentence

QUIET = judge(0.95, 0.95, 100.0)
NONE = judge(0.0, 0.0, 0.0)


def test_intervals_that_cannot_be_judged_say_why_though_many_edges_came_out():
    said = score_sentence("M1", 88, judge(0.8, 0.5, 0.6), QUIET, QUIET, None)

    assert said == (
        "M1: its intervals of life cannot be judged yet; 88 of its edges have come out, most "
        "too early to tell (worth 0.6 edges with a known end)."
    )
    assert score_sentence("M1", 0, NONE, NONE, NONE, None).endswith(
        "none of its edges has come out."
    )


def test_intervals_that_can_be_judged_say_what_they_stand_on():
    said = score_sentence("M1", 88, judge(0.8, 0.75, 40.0), NONE, NONE, 1.3)

    assert "claimed 80% of lives, 75% came true; worth 40 edges with a known end" in said
    assert said.endswith(
        "within what chance allows. Its lives are now forecast 1.3 times as wide."
    )


@pytest.mark.parametrize("place", [0, 1])
def test_a_promise_to_last_that_was_too_sure_is_told_whatever_is_known_of_lives(place):
    sure = [QUIET, QUIET]
    sure[place] = judge(0.979, 0.9525, 253.0)
    what = ("the shift", "the next unattended stretch")[place]

    said = score_sentence("2026-11", 272, judge(0.8, 0.5, 0.6), *sure, None)

    assert said.endswith(
        f"That they last {what} was claimed too surely: 97.9% on average, 95.2% did."
    )
    assert "surely" not in score_sentence("2026-11", 272, NONE, QUIET, QUIET, None)
