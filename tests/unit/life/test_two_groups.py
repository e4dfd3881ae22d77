"""Two groups of lives under one key are found, and one group is not taken for two.

Lives are invented. The likelihoods are worked out again by scipy.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from crib.life.law import FORMS, SHAPES
from crib.life.shapes import law_prior, normalised, widened
from crib.life.two_groups import LEAST_WORN, one_scale, tried_laws, two_groups

OPINION = np.log(np.maximum(widened(normalised(law_prior()[None, :]))[0], 1e-300))


def lives(sets, number, shape, *, kind="weibull", second=0.0, cut=None, seed=5):
    """Lives of a median of about 1, some of them half as long."""
    rng, size = np.random.default_rng(seed), (sets, number)
    spread = np.pi / np.sqrt(6) / shape
    if kind == "weibull":
        life = rng.weibull(shape, size)
    else:
        life = np.exp(spread * rng.standard_normal(size))
    life = np.where(rng.random(size) < second, life / 2, life)
    until = np.inf if cut is None else cut * np.exp(0.1 * rng.standard_normal(size))
    return np.minimum(life, until), life <= until


def believed(ages, worn):
    found = two_groups(ages, worn, OPINION)
    return found.believed(ages.shape[1]) & (worn.sum(axis=1) >= LEAST_WORN)


def only(s):
    """An opinion that allows one law alone."""
    opinion = np.full(len(FORMS), -1e3)
    opinion[s] = 0.0
    return opinion


def test_one_scale_is_the_greatest_likelihood_under_censoring():
    ages, worn = lives(4, 30, 4.0, cut=1.0)
    s = int(np.argmin(np.abs(SHAPES - 4.0)))
    k = SHAPES[s]

    value, scale = one_scale(FORMS[s], np.log(ages), worn)

    # closed form at a known shape: Lawless, Statistical Models and Methods, from memory
    theta = ((ages**k).sum(axis=1) / worn.sum(axis=1)) ** (1 / k)
    assert np.exp(scale) == pytest.approx(theta, rel=1e-3)
    law = stats.weibull_min(k, scale=theta[:, None])
    # a density per unit of ln life
    ln = np.where(worn, law.logpdf(ages) + np.log(ages), law.logsf(ages)).sum(axis=1)
    assert value == pytest.approx(ln, abs=1e-4)


@pytest.mark.parametrize("kind", ["weibull", "lognormal"])
def test_two_scales_are_the_greatest_likelihood_too(kind):
    ages, worn = lives(1, 60, 6.0, kind=kind, second=0.4, cut=1.1)
    steep = np.array([form.steepness for form in FORMS])
    near = np.abs(steep - 6.0) + 100 * np.array(
        [("Weibull" in type(form).__name__) != (kind == "weibull") for form in FORMS]
    )
    s = int(np.argmin(near))

    def law(scale):
        if kind == "weibull":
            return stats.weibull_min(steep[s], scale=scale)
        return stats.lognorm(FORMS[s].sd, scale=scale)

    def density(scale):
        one, x, d = law(scale), ages[0], worn[0]
        return np.where(d, one.pdf(x) * x, one.sf(x))

    def loss(given):
        low, high, lean = given
        share = 1 / (1 + np.exp(-lean))
        return -np.sum(
            np.log(share * density(np.exp(low)) + (1 - share) * density(np.exp(high)))
        )

    two = min(
        (optimize.minimize(loss, (a, 0.0, 0.0), method="Nelder-Mead") for a in (-0.9, -0.4)),
        key=lambda one: one.fun,
    )
    one = optimize.minimize_scalar(
        lambda u: -np.log(density(np.exp(u))).sum(), bounds=(-0.5, 0.5), method="bounded"
    )

    found = two_groups(ages, worn, only(s))

    assert found.log_ratio[0] == pytest.approx(one.fun - two.fun, abs=0.02)
    medians = sorted(law(np.exp(u)).median() for u in two.x[:2])
    assert [found.shorter[0], found.longer[0]] == pytest.approx(medians, rel=0.02)


@pytest.mark.parametrize("number", [10, 20, 50])
@pytest.mark.parametrize(
    ("kind", "shape"), [("weibull", 3.0), ("weibull", 4.0), ("lognormal", 2.5)]
)
def test_one_group_is_called_two_in_at_most_one_key_of_twenty(kind, shape, number):
    called = believed(*lives(60, number, shape, kind=kind))

    assert called.mean() <= 0.05


def test_the_widest_keys_keep_to_it_too():
    # 400 keys of 50 lives at a shape of 2, which like keys hold unlikely: 4.5 %
    called = believed(*lives(60, 50, 2.0))

    assert called.mean() <= 0.1  # three standard errors of sixty keys


def test_a_second_group_at_half_the_life_is_found():
    ages, worn = lives(40, 50, 6.0, second=0.5)

    called = believed(ages, worn)

    # 83 % of 400 such keys
    assert called.mean() >= 0.65
    found = two_groups(ages[called], worn[called], OPINION)
    median = np.log(2) ** (1 / 6)
    assert np.median(found.longer) == pytest.approx(median, rel=0.06)
    assert np.median(found.shorter) == pytest.approx(median / 2, rel=0.06)
    assert np.median(found.share) == pytest.approx(0.5, abs=0.08)


def test_two_odd_edges_are_no_group():
    ages = np.concatenate([lives(1, 48, 8.0)[0], [[0.2, 0.21]]], axis=1)
    worn = np.ones_like(ages, dtype=bool)

    found = two_groups(ages, worn, OPINION)

    assert found.log_ratio[0] > 5.5
    assert not found.believed(50)[0]


def test_groups_that_hardly_differ_are_one_for_the_shop():
    rng = np.random.default_rng(2)
    life = rng.weibull(17.0, 400)
    ages = np.where(rng.random(400) < 0.5, life / 1.3, life)[None]
    opinion = np.zeros(len(FORMS))

    found = two_groups(ages, np.ones_like(ages, dtype=bool), opinion)

    assert found.log_ratio[0] > 20
    assert not found.believed(400)[0]


def test_laws_that_like_keys_rule_out_are_not_tried():
    tried = tried_laws(OPINION)

    assert 0 < len(tried) < len(FORMS)
    assert 0 not in tried  # a shape of 1 is hardly wear
