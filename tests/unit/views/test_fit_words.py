"""Each verdict on a curve is said in short sentences that name what to do."""

from __future__ import annotations

import re

import pytest

from crib.life.fits import (
    FEWER_EARLY,
    FITS,
    LONGER,
    MORE_EARLY,
    NO_LAW,
    SHORTER,
    TOO_FEW,
    TWO,
    KeyFit,
)
from crib.views.fit_words import WARNS, fit_sentence


def fit(verdict: str) -> KeyFit:
    return KeyFit(verdict, 40, 30, 5, 9, 2.34, 12.4, 0.497, 0.993, 0.4)


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        (FITS, "Its lives fit the curve."),
        (TOO_FEW, "Too few edges wore out to tell whether the curve fits: 5 of 8 needed."),
        (
            TWO,
            "Two groups of lives: near 250 parts and near 500 parts. Ask what differs: box, "
            "material or machine.",
        ),
        (
            NO_LAW,
            "No curve fits these lives. Do not plan by them alone: look at each edge that "
            "comes out.",
        ),
        (
            MORE_EARLY,
            "More early failures than the curve says: 9, expected 2.3. Find out why those "
            "failed.",
        ),
        (FEWER_EARLY, "Fewer early failures than the curve says: 9, expected 2.3."),
        (
            SHORTER,
            "Edges last shorter than the curve says: 30 failures, expected 12. Swap earlier.",
        ),
        (
            LONGER,
            "Edges last longer than the curve says: 30 failures, expected 12. Swaps may come "
            "too early.",
        ),
    ],
)
def test_each_verdict_is_said_in_words(verdict: str, said: str) -> None:
    told = fit_sentence(fit(verdict), 0.002)

    assert told == said
    assert all(len(one.split()) <= 20 for one in re.split(r"(?<=\.) ", said))


def test_two_groups_are_told_in_expected_lives_where_no_part_was_counted() -> None:
    assert "about 0.50 and about 0.99 expected lives" in fit_sentence(fit(TWO), None)


def test_what_somebody_has_to_act_on_is_a_warning() -> None:
    assert {TWO, NO_LAW, MORE_EARLY, SHORTER} == WARNS
