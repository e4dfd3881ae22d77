"""Whether forecasts can be relied on: one verdict over all that is said of them."""

from __future__ import annotations

from dataclasses import dataclass

from crib.life.as_long import LONGER, NARROWER, SHORTER, WIDER
from crib.life.held import TOO_CAUTIOUS, TOO_FEW, TOO_SURE
from crib.sentence import Sentence, sentence
from crib.views.score_forecasts import ForecastScore

#: Verdicts over all, the worst first.
CAREFUL, CAUTIOUS, RIGHT, UNKNOWN = "careful", "cautious", "right", "unknown"


@dataclass(frozen=True, slots=True)
class OverallVerdict:
    """One verdict.

    Attributes:
        verdict: ``careful`` (something may fail earlier than forecast), ``cautious`` (edges
            do better than forecast), ``right`` or ``unknown``.
        sentence: The same in words.
    """

    verdict: str
    sentence: Sentence


def overall_verdict(shop: ForecastScore, distrusted: int) -> OverallVerdict:
    """The worst of what is said of a shop's forecasts.

    Args:
        shop: The score of the whole shop.
        distrusted: How many tools and materials have forecasts that ran wrong.
    """
    lives = shop.as_forecast.verdict
    held = {one.verdict for one in (shop.shift, shop.unattended, shop.life_80)}
    if TOO_SURE in held or lives in (SHORTER, WIDER) or distrusted:
        return OverallVerdict(
            CAREFUL, sentence("Not all forecasts can be relied on: see the marked lines.")
        )
    if TOO_CAUTIOUS in held or lives in (LONGER, NARROWER):
        return OverallVerdict(
            CAUTIOUS, sentence("On the safe side: some forecasts are too cautious.")
        )
    if {*held, lives} == {TOO_FEW}:
        return OverallVerdict(
            UNKNOWN, sentence("Too few edges have ended to tell whether we were right.")
        )
    if TOO_FEW not in (shop.shift.verdict, shop.unattended.verdict) and TOO_FEW in (
        lives,
        shop.life_80.verdict,
    ):
        return OverallVerdict(
            RIGHT,
            sentence(
                "Right so far for shift and night. "
                "Too few edges have failed to tell how long they last."
            ),
        )
    if TOO_FEW in {*held, lives}:
        return OverallVerdict(RIGHT, sentence("Right so far, where enough edges have ended."))
    return OverallVerdict(RIGHT, sentence("So far the forecasts were right."))
