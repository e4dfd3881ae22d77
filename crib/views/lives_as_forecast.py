"""Did edges last as long as forecast: the figures of a group, and one sentence on them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from crib.life.as_long import AS_FORECAST, LONGER, NARROWER, SHORTER, WIDER, AsLong
from crib.outlook.wear_by_forecast import BLOCK_US
from crib.sentence import Sentence, figure, sentence


@dataclass(frozen=True, slots=True)
class LivesAsForecast:
    """Failures beside those expected over all wear made under the forecasts.

    Attributes:
        failures_expected: How many the forecasts expected, running edges included.
        failures: How many there were.
        failures_needed: Expected failures from which on lives 20 % off are noticed nine times
            in ten; None without wear.
        life_factor: Life seen over life forecast that fits best; None without wear.
        odds: How much likelier wrong forecasts make this; from 20 times the number of groups
            on they are called wrong. It holds however often one looks.
        verdict: as_forecast, shorter, longer, wider, narrower or too_few.
        since: Forecasts from then on are meant.
        sentence: The same in words.
    """

    failures_expected: float
    failures: int
    failures_needed: float | None
    life_factor: float | None
    odds: float
    verdict: str
    since: datetime
    sentence: str


def lives_as_forecast(found: AsLong, since: datetime) -> LivesAsForecast:
    """The figures with their sentence.

    Args:
        found: What was found.
        since: Instant that its blocks of time are counted from.
    """
    return LivesAsForecast(
        found.expected,
        found.seen,
        found.needed,
        found.life_factor,
        found.odds,
        found.verdict,
        since + timedelta(microseconds=found.from_block * BLOCK_US),
        _sentence(found),
    )


def _sentence(found: AsLong) -> Sentence:
    numbers: dict[str, object] = {
        "seen": found.seen,
        "expected": figure(found.expected, ".0f" if found.expected >= 10 else ".1f"),
        "share": figure(abs((found.life_factor or 1.0) - 1), ".0%"),
    }
    if found.verdict in _WORDS:
        return Sentence(_WORDS[found.verdict].template, numbers)
    if found.needed is None:
        return sentence("Too few failures to tell: no edge has cut under a forecast yet.")
    return sentence(
        "Too few failures to tell. Failures: {seen}, expected: {expected}. "
        "It takes about {more} more to notice lives 20 % off.",
        more=max(math.ceil(found.needed - found.expected), 1),
        **numbers,
    )


_WORDS: Final = {
    AS_FORECAST: sentence(
        "Edges lasted as long as forecast. Failures: {seen}, expected: {expected}."
    ),
    SHORTER: sentence(
        "Edges lasted about {share} shorter than forecast. Failures: {seen}, "
        "expected: {expected}. Swap earlier until the forecasts fit again."
    ),
    LONGER: sentence(
        "Edges lasted about {share} longer than forecast. Failures: {seen}, "
        "expected: {expected}. Swaps come too early until the forecasts fit again."
    ),
    WIDER: sentence(
        "Lives scatter more than forecast. Failures: {seen}, expected: {expected}. "
        "Expect some edges to fail early."
    ),
    NARROWER: sentence(
        "Lives scatter less than forecast. Failures: {seen}, expected: {expected}. "
        "Our ranges are wider than they need to be."
    ),
}
