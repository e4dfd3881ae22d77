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
GOOD_TOOL: Any = SimpleNamespace(relies=True, state="as_forecast")
UNKNOWN_TOOL: Any = SimpleNamespace(relies=True, state="unknown")
WRONG_TOOL: Any = SimpleNamespace(relies=False, state="look")


def over_all(
    tools: tuple[Any, ...] = (GOOD_TOOL, UNKNOWN_TOOL),
    too_sure: bool = False,
    **said: str,
) -> OverallVerdict:
    """What is said over the verdicts of the lines; those not given are fine."""
    lines = FINE | said
    held: Any = {name: SimpleNamespace(verdict=one) for name, one in lines.items()}
    held["as_forecast"] = held.pop("lives")
    return overall_verdict(SimpleNamespace(**held), tools, too_sure)  # type: ignore[arg-type]


def words(*given: Any, **said: Any) -> str:
    """The sentence alone."""
    return str(over_all(*given, **said).sentence)


def test_what_cannot_be_told_yet_is_named_beside_what_was_right() -> None:
    assert words() == "So far all our forecasts were right."
    assert words(life_80="too_few") == (
        "Right so far: how long edges last, lasting the shift, lasting the night, "
        "single tools. Can't tell yet: our 80 % ranges."
    )
    assert words((UNKNOWN_TOOL,), lives="too_few").endswith(
        "Can't tell yet: how long edges last, single tools."
    )


def test_no_kind_of_forecast_is_both_told_and_not_told() -> None:
    """Each is named once, under its own mark."""
    found = over_all(lives="too_few", shift="too_sure", life_80="too_cautious")

    assert found.parts == {
        "lives": "unknown",
        "shift": "wrong",
        "night": "right",
        "ranges": "cautious",
        "tools": "right",
    }
    assert str(found.sentence) == (
        "Do not rely on: lasting the shift. Too cautious: our 80 % ranges. "
        "Right so far: lasting the night, single tools. Can't tell yet: how long edges last."
    )


@pytest.mark.parametrize("line", ["shift", "unattended", "life_80"])
def test_one_line_that_is_too_sure_asks_for_care_whatever_the_others_say(line: str) -> None:
    others = dict.fromkeys(FINE.keys() - {"lives", line}, "too_cautious")

    assert over_all(**others, **{line: "too_sure"}, lives="longer").verdict == "wrong"
    assert over_all(**{line: "too_cautious"}).verdict == "cautious"
    assert over_all((), **FEW | {line: "within_chance"}).verdict == "right"


@pytest.mark.parametrize(
    ("lives", "expected"),
    [
        ("shorter", "wrong"),
        ("wider", "wrong"),
        ("longer", "cautious"),
        ("narrower", "cautious"),
        ("too_few", "right"),
        ("as_forecast", "right"),
    ],
)
def test_whether_edges_lasted_as_forecast_counts_too(lives: str, expected: str) -> None:
    assert over_all(lives=lives).verdict == expected


def test_one_tool_or_machine_that_ran_wrong_asks_for_care_and_few_edges_tell_nothing() -> None:
    assert over_all((GOOD_TOOL, WRONG_TOOL)).verdict == "wrong"
    assert over_all((), **FEW).verdict == "unknown"
    assert over_all((WRONG_TOOL,), **FEW).verdict == "wrong"
    assert over_all((), True, **FEW).verdict == "wrong"
    assert words((GOOD_TOOL, WRONG_TOOL), True).startswith(
        "Do not rely on: single tools, some machines or months."
    )
