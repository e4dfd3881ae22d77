"""What the page of outcomes says of one kind of forecast, in a line."""

import pytest
from flask import render_template_string

from crib.life.held import Held
from tests.pages.reading import parsed, words

_LINE = (
    '{% from "right_words.html" import trust with context %}'
    '{{ trust("#", "Q", mark, held, 3, True) }}'
)


@pytest.mark.parametrize(
    ("mark", "held", "said"),
    [
        (
            "right",
            Held(0.8, 0.79, 0.7, 0.86, 90, 71, 19, "within_chance"),
            "right so far Our 80 % ranges held 79 % of the time.",
        ),
        (
            "right",
            Held(0.8, 0.67, 0.43, 0.85, 21, 14, 7, "within_chance"),
            "Less than we claim, but chance alone can do that. "
            "Our 80 % ranges held 67 % of the time. "
            "With so few edges, 43 % to 85 % agrees with it.",
        ),
        (
            "wrong",
            Held(0.8, 0.4, 0.3, 0.5, 90, 36, 54, "too_sure"),
            "Too sure: do not rely on it. Our 80 % ranges held 40 % of the time.",
        ),
        (
            "unknown",
            Held(0.8, 0.7, 0.1, 0.99, 3.3, 43, 17, "too_few"),
            "can't tell yet About 3 more failures would tell.",
        ),
    ],
)
def test_a_share_below_its_claim_is_not_called_as_good(client, mark, held, said):
    with client.application.test_request_context("/were-we-right"):
        line = words(parsed(render_template_string(_LINE, mark=mark, held=held)))

    assert said in line.replace("\u00a0", " ").replace("\u202f", " ")


def test_marks_are_said_in_the_readers_language(client):
    """A right forecast is no direction."""
    held = Held(0.8, 0.79, 0.7, 0.86, 90, 71, 19, "within_chance")
    asked = {"headers": {"Accept-Language": "de"}}
    with client.application.test_request_context("/were-we-right", **asked):
        line = words(parsed(render_template_string(_LINE, mark="right", held=held)))

    assert line.startswith("Q bisher richtig ")
