"""One verdict stands over all lines on the forecasts and contradicts none of them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from crib.views.overall_verdict import OverallVerdict, overall_verdict

FINE = {
    "lives": "as_forecast",
    "shift": "within_chance",
    "unattended": "within_chance",
    "life_80": "within_chance",
}
FEW = dict.fromkeys(FINE, "too_few")


def over_all(distrusted: int = 0, **said: str) -> OverallVerdict:
    """What is said over the verdicts of the lines; those not given are fine."""
    lines = FINE | said
    held: Any = {name: SimpleNamespace(verdict=one) for name, one in lines.items()}
    held["as_forecast"] = held.pop("lives")
    return overall_verdict(SimpleNamespace(**held), distrusted)  # type: ignore[arg-type]


def verdict(distrusted: int = 0, **said: str) -> str:
    """The verdict alone."""
    return over_all(distrusted, **said).verdict


def test_what_cannot_be_told_yet_is_said_beside_what_was_right() -> None:
    assert str(over_all().sentence) == "So far the forecasts were right."
    assert str(over_all(lives="too_few").sentence).startswith(
        "Right so far for shift and night"
    )
    assert str(over_all(life_80="too_few").sentence) == str(over_all(lives="too_few").sentence)
    assert str(over_all(shift="too_few").sentence).endswith("where enough edges have ended.")


@pytest.mark.parametrize("line", ["shift", "unattended", "life_80"])
def test_one_line_that_is_too_sure_asks_for_care_whatever_the_others_say(line: str) -> None:
    others = dict.fromkeys(FINE.keys() - {"lives", line}, "too_cautious")

    assert verdict(**others, **{line: "too_sure"}, lives="longer") == "careful"
    assert verdict(**{line: "too_cautious"}) == "cautious"
    assert verdict(**FEW | {line: "within_chance"}) == "right"


@pytest.mark.parametrize(
    ("lives", "expected"),
    [
        ("shorter", "careful"),
        ("wider", "careful"),
        ("longer", "cautious"),
        ("narrower", "cautious"),
        ("too_few", "right"),
        ("as_forecast", "right"),
    ],
)
def test_whether_edges_lasted_as_forecast_counts_too(lives: str, expected: str) -> None:
    assert verdict(lives=lives) == expected


def test_one_tool_whose_forecasts_ran_wrong_asks_for_care_and_few_edges_tell_nothing() -> None:
    assert verdict(distrusted=1) == "careful"
    assert verdict(**FEW) == "unknown"
    assert verdict(**FEW, distrusted=1) == "careful"
