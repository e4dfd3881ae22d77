"""Lands to expect: the model of looks asked forwards, and backwards."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from crib.errors import OutsideModel
from crib.life.curves import mixture_curves
from crib.life.fitting import fit_life_model
from crib.life.land import land_law, land_law_of
from crib.life.looks import Looks
from crib.life.observations import LAND_SEEN, WORN, life_histories
from crib.life.pooling import key_table
from crib.life.weibull_form import WeibullForm


def law_of(shape=3.0, scale=1.0, *, level=0.0, run_in=0.15, error=0.2, growth=0.1, tie=0.8):
    """Lands of one key whose wear-out law is all but known: Weibull."""
    form = WeibullForm(shape)
    one, two = form.ahead(np.array([[np.log(scale)]]), np.array([[1e-7]]))
    curves = mixture_curves([form], np.ones((1, 1)), one, two)
    each = [np.full(3, value) for value in (run_in, error, growth, tie)]
    usual = np.array([np.log(scale)])
    looks = Looks(np.full((3, 1), level), *each, 0.1, usual, np.array([0.01]))
    return land_law_of(curves, 0, looks, 0, 0)


LAWS = st.builds(
    law_of,
    st.floats(1.5, 6),
    st.floats(0.05, 20),
    level=st.floats(-0.3, 0.3),
    run_in=st.floats(0.02, 0.3),
    error=st.floats(0.03, 0.3),
    growth=st.floats(0.03, 0.25),
    tie=st.floats(0, 1),
)


@settings(max_examples=40, deadline=None)
@given(LAWS, st.floats(0.45, 0.95))
def test_the_age_of_a_land_takes_back_the_land_at_an_age(law, share):
    half, late = law.age_of(share, [0.5, 0.8])
    assume(np.isfinite(half))  # where lands stay short of the limit, half may never show it

    assert law.share_at([half], 0.5)[0, 0] == pytest.approx(share, rel=1e-6)
    if np.isfinite(late):
        # four in five show at least so much: one in five less
        assert law.share_at([late], 0.2)[0, 0] == pytest.approx(share, rel=1e-6)
        assert late > half
    assert law.reaches(share, half) == pytest.approx(0.5, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(LAWS)
def test_lands_grow_with_the_age_and_counts_with_the_land(law):
    scale = np.exp(float(law.log_life @ law.weight))
    ages = scale * np.array([0.02, 0.1, 0.3, 0.6, 0.9, 1.1])

    lands = law.share_at(ages, [0.1, 0.5, 0.9])

    assert np.all(np.diff(lands[:, :2], axis=0) > 0)
    assert np.all(np.diff(lands, axis=1) > 0)
    halves = [law.age_of(share, 0.5)[0] for share in (0.45, 0.6, 0.8)]
    assert np.all(np.diff(halves) > 0)


@settings(max_examples=25, deadline=None)
@given(LAWS, st.floats(0.05, 1.1), st.floats(0.2, 5))
def test_a_longer_life_takes_every_land_with_it(law, age, times):
    """Ages have no unit of their own."""
    middle = float(law.log_life @ law.weight)
    looks = law.looks
    further = type(law)(
        law.log_life + np.log(times),
        law.weight,
        Looks(
            looks.level, looks.run_in, looks.error, looks.growth, looks.tie, looks.shared,
            looks.usual + np.log(times), looks.doubt,
        ),
        0,
        0,
    )  # fmt: skip
    at = age * np.exp(middle)

    ours, theirs = law.share_at([at], [0.1, 0.9]), further.share_at([at * times], [0.1, 0.9])

    assert theirs == pytest.approx(ours, rel=1e-9)


def test_lands_are_those_of_edges_drawn_at_random():
    """By simulation of the same process, 400,000 edges."""
    rng = np.random.default_rng(7)
    life = 2.0 * rng.weibull(3.0, 400_000)
    law = law_of(3.0, 2.0, level=0.1, run_in=0.15, error=0.2, growth=0.1, tie=1.0)

    for age in (0.4, 1.0, 1.8):
        wear = np.minimum(age / life, 1.25)
        share = 0.15 + 0.85 * wear
        spread = 0.2**2 + (0.1 * np.maximum(1 / share - 1, 0)) ** 2
        spread += 0.1**2 * (0.85 * wear / share) ** 2
        seen = np.exp(0.1 + np.log(share) + np.sqrt(spread) * rng.standard_normal(life.size))

        found = law.share_at([age], [0.1, 0.5, 0.9])[0]

        assert found == pytest.approx(np.quantile(seen, [0.1, 0.5, 0.9]), rel=0.01)
        assert law.reaches(0.5, age) == pytest.approx(np.mean(seen >= 0.5), abs=0.004)


def test_lands_measured_move_what_is_expected():
    """Edges that show half the usual land at the same age: the key's next one will, too."""
    rng = np.random.default_rng(3)
    life = rng.weibull(4, 60)
    columns = ([0] * 60, life, 100 * life, [WORN] * 60)
    usual = 0.15 + 0.85 * 0.5

    def expected(share):
        seen = life_histories(
            *columns, seen_share=[share] * 60, seen_at=0.5 * life, seen_kind=[LAND_SEEN] * 60
        )
        law = land_law(fit_life_model(key_table([0], [0], [0]), seen), 0)
        assert law.lands == 60
        return float(law.share_at([0.4], 0.5)[0, 0])

    assert expected(0.6 * usual) < 0.8 * expected(usual)


@pytest.mark.parametrize("share", [0.0, -1.0, 1.01, float("nan"), 0.1])
def test_a_land_without_an_age_is_refused(share):
    with pytest.raises(OutsideModel) as refused:
        law_of(run_in=0.2).age_of(share, 0.5)

    assert refused.value.errors[0]["field"] == "land_mm"


@pytest.mark.parametrize("age", [0.0, -1.0, float("inf"), float("nan")])
def test_an_age_without_a_land_is_refused(age):
    with pytest.raises(OutsideModel):
        law_of().share_at([age], 0.5)


def test_so_many_as_never_show_a_land_have_no_age():
    early, _, late = law_of(level=-0.2).age_of(1.0, [0.0001, 0.3, 0.999])

    assert early < 0.5
    assert np.isnan(late)
