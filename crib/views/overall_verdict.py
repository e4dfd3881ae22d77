"""Whether forecasts can be relied on: one verdict made of those on each kind of forecast."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from crib.life.as_long import AS_FORECAST, LONGER, NARROWER, SHORTER, WIDER
from crib.life.held import TOO_CAUTIOUS, TOO_SURE, WITHIN_CHANCE
from crib.sentence import Sentence, sentence, together
from crib.views.key_states import AS_FORECAST as TOOL_AS_FORECAST
from crib.views.key_states import KeyState
from crib.views.score_forecasts import ForecastScore

#: What is said of one kind of forecast, and over all, the worst first.
WRONG, CAUTIOUS, RIGHT, UNKNOWN = "wrong", "cautious", "right", "unknown"

_MARKS: Final = {
    TOO_SURE: WRONG,
    SHORTER: WRONG,
    WIDER: WRONG,
    TOO_CAUTIOUS: CAUTIOUS,
    LONGER: CAUTIOUS,
    NARROWER: CAUTIOUS,
    WITHIN_CHANCE: RIGHT,
    AS_FORECAST: RIGHT,
}
_NAMES: Final = {
    "lives": sentence("how long edges last"),
    "shift": sentence("lasting the shift"),
    "night": sentence("lasting the night"),
    "ranges": sentence("our 80 % ranges"),
    "tools": sentence("single tools"),
}
_GROUPS: Final = sentence("some machines or months")


@dataclass(frozen=True, slots=True)
class OverallVerdict:
    """One verdict, and those that it is made of.

    Attributes:
        verdict: ``wrong`` (something may fail earlier than forecast), ``cautious`` (edges do
            better than forecast), ``right`` or ``unknown``.
        parts: The same of lives, shift, night, ranges and tools.
        sentence: All of it in words.
    """

    verdict: str
    parts: Mapping[str, str]
    sentence: Sentence


def overall_verdict(
    shop: ForecastScore, tools: Sequence[KeyState], too_sure: bool = False
) -> OverallVerdict:
    """What is said of a shop's forecasts, kind by kind, and over all the worst of it.

    Args:
        shop: The score of the whole shop.
        tools: How each tool and material stands.
        too_sure: Whether the forecasts of one machine or month were too sure.
    """
    parts = {
        "lives": _MARKS.get(shop.as_forecast.verdict, UNKNOWN),
        "shift": _MARKS.get(shop.shift.verdict, UNKNOWN),
        "night": _MARKS.get(shop.unattended.verdict, UNKNOWN),
        "ranges": _MARKS.get(shop.life_80.verdict, UNKNOWN),
        "tools": mark_of_tools(tools),
    }
    said = set(parts.values()) | ({WRONG} if too_sure else set())
    verdict = next(one for one in (WRONG, CAUTIOUS, RIGHT, UNKNOWN) if one in said)
    return OverallVerdict(verdict, parts, _sentence(said, parts, too_sure))


def mark_of_tools(tools: Sequence[KeyState]) -> str:
    """Wrong where the forecasts of one may be; right where one is known to last as forecast."""
    if not all(one.relies for one in tools):
        return WRONG
    return RIGHT if any(one.state == TOOL_AS_FORECAST for one in tools) else UNKNOWN


def _sentence(said: set[str], parts: Mapping[str, str], too_sure: bool) -> Sentence:
    if said == {RIGHT}:
        return sentence("So far all our forecasts were right.")
    if said == {UNKNOWN}:
        return sentence("Too few edges have ended to tell whether we were right.")
    told = []
    if names := [*_names(parts, WRONG), *([_GROUPS] if too_sure else [])]:
        told.append(sentence("Do not rely on: {names}.", names=together(", ", names)))
    if names := _names(parts, CAUTIOUS):
        told.append(sentence("Too cautious: {names}.", names=together(", ", names)))
    if names := _names(parts, RIGHT):
        told.append(sentence("Right so far: {names}.", names=together(", ", names)))
    if names := _names(parts, UNKNOWN):
        told.append(sentence("Can't tell yet: {names}.", names=together(", ", names)))
    return together(" ", told)


def _names(parts: Mapping[str, str], mark: str) -> list[str]:
    return [_NAMES[part] for part, one in parts.items() if one == mark]
