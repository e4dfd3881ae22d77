"""What a land says of whether an edge was worn out, against scipy's integral."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import weibull_min

from crib.life.fitting import fit_life_model
from crib.life.law import FORMS, LOG_MEDIAN, STEEPNESS, Law
from crib.life.looks import unchecked_looks
from crib.life.observations import BROKEN, CENSORED, LAND_SEEN, SIZE_SEEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.life.worn_by_look import log_worn_by_look

SHAPE, MEDIAN = 4.0, 1.3
TIE = np.full(3, 0.8)


def law() -> Law:
    """One key whose usual life is known."""
    promise, many = np.array([np.log(MEDIAN)]), len(FORMS)
    weights = np.zeros((1, many))
    weights[0, int(np.argmin(np.abs(STEEPNESS - SHAPE)))] = 1.0
    return Law(promise, -LOG_MEDIAN[None], weights, np.zeros((1, many)), STEEPNESS > 0)


def told(wear: float, share: float, at: float, kind: int = LAND_SEEN, ended: int = WORN):
    lives = life_histories(
        [0], [wear], [100], [ended], seen_share=[share], seen_at=[at], seen_kind=[kind]
    )
    return float(log_worn_by_look(lives, law(), TIE)[0])


@pytest.mark.parametrize("kind", [LAND_SEEN, SIZE_SEEN])
@pytest.mark.parametrize(
    ("wear", "share", "at"),
    [(0.6, 0.4, 0.6), (0.6, 0.9, 0.6), (1.5, 0.9, 1.5), (1.0, 0.3, 0.5), (2.0, 1.4, 1.8)],
)
def test_it_compares_the_life_that_ended_with_all_that_would_have_gone_on(
    wear, share, at, kind
):
    looks = unchecked_looks(law().usual(), law().doubt()).at(
        np.array([0]), np.array([kind]), np.array([share]), np.array([at])
    )
    k = float(law().steepness()[0])
    lives = weibull_min(k, scale=MEDIAN / np.log(2) ** (1 / k))

    def seen(life: float) -> float:
        return float(np.exp(looks.of_edges(np.log([[life]]), 0.0)[0, 0]))

    on, _ = quad(lambda life: lives.pdf(life) * seen(life), wear, 8.0, limit=200)
    expected = np.log(seen(wear)) - np.log(on / lives.sf(wear))

    assert told(wear, share, at, kind) == pytest.approx(expected, abs=0.02)


def test_a_small_land_speaks_against_wear_and_a_large_one_for_it():
    assert told(0.6, 0.3, 0.6) < -2
    assert told(0.6, 1.0, 0.6) > 0.5


def test_nothing_seen_says_nothing():
    lives = life_histories([0, 0], [0.6, 0.9], [100, 100], [WORN, CENSORED])

    assert np.array_equal(log_worn_by_look(lives, law(), TIE), [0.0, 0.0])


def shop(seen: str):
    """Twelve keys of forty edges swapped at half of their life, where none wears out yet.

    One reason of seven is written down wrong; the land of all edges is seen, of those called
    worn, or of none. The shop and its numbers are invented.
    """
    rng = np.random.default_rng(3)
    number = np.arange(12)
    key = rng.permutation(np.repeat(number, 40))
    wear = 0.5 * np.exp(0.1 * rng.standard_normal(len(key)))
    land = (0.15 + 0.85 * wear) * np.exp(0.1 * rng.standard_normal(len(key)))
    slip = rng.random(len(key)) < 0.15
    ended = np.where(slip, rng.choice([WORN, BROKEN], len(key)), CENSORED)
    told = {"all": ended >= 0, "worn": ended == WORN, "none": ended < 0}[seen]
    kind = np.where(told, LAND_SEEN, 0)
    lives = life_histories(
        key, wear, 100 * wear, ended, seen_share=land, seen_at=wear, seen_kind=kind
    )
    return fit_life_model(key_table(number, 0 * number, 0 * number), lives)


def believed_worn(model) -> float:
    """Edges called worn that are believed to be."""
    said = model.histories.ended == WORN
    return float(model._ended.wear.endings(model.histories)[WORN][said].sum())


def test_small_lands_give_good_edges_away_that_are_called_worn():
    seen, unseen = shop("worn"), shop("none")

    assert believed_worn(seen) < 0.6 * believed_worn(unseen)
    assert np.mean(seen.basis(np.arange(12)).life_p50) > 1.04 * np.mean(
        unseen.basis(np.arange(12)).life_p50
    )


def test_lands_keep_the_fit_from_running_off_to_long_lives_that_hardly_wear():
    model = shop("all")
    number = np.arange(12)

    assert np.all(model.basis(number).life_p50 < 1.6)
    assert np.all(model.law(number)[0] > 2)
