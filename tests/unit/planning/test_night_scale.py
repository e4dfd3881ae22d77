"""The factor on nights ahead: the exact posterior mean, whatever earlier nights were like."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from crib.errors import OutsideModel
from crib.planning.night_scale import night_scale, under_scale

hazards = st.floats(0.0, 60.0)
nights = st.lists(st.tuples(hazards, st.booleans()), max_size=30)


def exact(lasted: list[str], failed: list[str]) -> float:
    """The posterior mean in fractions: the product of ``1 - exp(-c H)`` written out.

    Each term is an exponential in c, whose integrals against c and c^2 are those of the gamma
    law; worked out for this test.
    """
    rate = 2 + sum(map(Fraction, lasted), Fraction(0))
    over, weighed = Fraction(0), Fraction(0)
    for size in range(len(failed) + 1):
        for some in combinations(failed, size):
            at = rate + sum(map(Fraction, some), Fraction(0))
            over += (-1) ** size / at**2
            weighed += (-1) ** size * 2 / at**3
    return float(weighed / over)


def test_without_any_night_the_forecast_stands() -> None:
    assert night_scale([], []) == 1.0


def test_quiet_nights_alone_have_the_closed_form_of_the_gamma_law() -> None:
    assert night_scale([0.02] * 7, [False] * 7) == pytest.approx(2 / 2.14, rel=1e-14)


@pytest.mark.parametrize(
    ("lasted", "failed"),
    [
        ([], ["0.5"]),
        (["0.1", "0.3"], ["0.02"]),
        (["0.2"] * 20, ["0.9", "2", "0.05"]),
        (["4", "0.01"], ["7", "3", "0.25", "0.25", "1", "0.1"]),
    ],
)
def test_it_is_the_posterior_mean_worked_out_in_fractions(
    lasted: list[str], failed: list[str]
) -> None:
    found = night_scale(
        [float(h) for h in (*lasted, *failed)], [False] * len(lasted) + [True] * len(failed)
    )

    assert found == pytest.approx(exact(lasted, failed), rel=1e-10)


@given(nights)
def test_it_is_the_posterior_mean_by_the_quadrature_of_a_library(
    rows: list[tuple[float, bool]],
) -> None:
    # reference: scipy.integrate.quad (QUADPACK) over ln c
    hazard = np.array([max(h, 1e-12) for h, _ in rows])
    failed = np.array([f for _, f in rows], dtype=bool)

    def log_density(t: float) -> float:
        c = np.exp(t)
        own = 2 * t - c * (2 + hazard[~failed].sum())
        return float(own + np.log(-np.expm1(-c * hazard[failed])).sum())

    steps = np.linspace(-25, 5, 3001)
    peak = float(steps[np.argmax([log_density(t) for t in steps])])
    top = log_density(peak)

    def moment(power: int) -> float:
        pieces = [(-40.0, peak - 3), (peak - 3, peak - 0.5), (peak - 0.5, peak + 0.5)]
        pieces += [(peak + 0.5, peak + 3), (peak + 3, peak + 6)]
        return sum(
            quad(
                lambda t: np.exp(log_density(t) - top + power * t),
                *ends,
                epsabs=0,
                epsrel=1e-10,
                limit=200,
            )[0]
            for ends in pieces
        )

    found = night_scale([h for h, _ in rows], failed)

    assert found == pytest.approx(moment(1) / moment(0), rel=1e-7)


@given(nights, hazards)
def test_one_more_failure_never_lowers_it_and_one_more_quiet_night_never_lifts_it(
    rows: list[tuple[float, bool]], more: float
) -> None:
    hazard, failed = [h for h, _ in rows], [f for _, f in rows]
    now = night_scale(hazard, failed)

    assert night_scale([*hazard, more], [*failed, True]) >= now * (1 - 1e-9)
    assert night_scale([*hazard, more], [*failed, False]) <= now * (1 + 1e-9)


@given(nights)
def test_the_order_of_the_nights_does_not_matter(rows: list[tuple[float, bool]]) -> None:
    there = night_scale([h for h, _ in rows], [f for _, f in rows])
    back = night_scale([h for h, _ in rows[::-1]], [f for _, f in rows[::-1]])

    assert back == pytest.approx(there, rel=1e-9)


@pytest.mark.parametrize("truth", [0.05, 0.6, 1.0, 2.5, 8.0])
def test_many_nights_lead_to_the_truth_however_far_off_the_forecast_is(truth: float) -> None:
    rng = np.random.default_rng(11)
    hazard = rng.gamma(1.0, 0.4, 4_000)
    failed = rng.random(4_000) < -np.expm1(-truth * hazard)

    assert night_scale(hazard, failed) == pytest.approx(truth, rel=0.12)


def test_small_hazards_are_counts() -> None:
    """1 - exp(-c H) is c H where H is small: by the law of counts, (2 + 30) / (2 + 20)."""
    hazard = np.full(20_000, 1e-3)

    assert night_scale(hazard, np.arange(20_000) < 30) == pytest.approx(32 / 22, rel=1e-3)


def test_what_is_no_hazard_is_refused() -> None:
    for hazard in ([-0.1], [np.nan], [np.inf]):
        with pytest.raises(OutsideModel, match="from 0"):
            night_scale(hazard, [True])
    with pytest.raises(OutsideModel, match="one outcome"):
        night_scale([0.1, 0.2], [True])


def test_a_chance_under_a_factor_keeps_its_ends_and_scales_its_hazard() -> None:
    assert under_scale([0.0, 1.0], 3.0).tolist() == [0.0, 1.0]
    # two of the same stretches in a row: 1 - 0.9 * 0.9
    assert float(under_scale(0.1, 2.0)) == pytest.approx(0.19)
