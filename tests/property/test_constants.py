"""Constants estimated from random lives: against a survival library, and what always holds."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st

from crib.errors import OutsideModel
from crib.life.constants import USES, estimate_constants
from crib.life.constants_own import OwnLives, estimate_from_own_lives
from crib.life.constants_regression import LAWS, fit_life_regression, flat_prior
from crib.life.constants_tests import life_tests
from crib.life.taylor import TaylorConstants, life_min
from crib.life.taylor_forms import power_law

FITTERS = {"weibull": "WeibullAFTFitter", "lognormal": "LogNormalAFTFitter"}


@settings(max_examples=8)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(15, 60), cut_short=st.floats(0, 0.5))
@pytest.mark.parametrize("law", LAWS)
def test_without_a_prior_it_is_maximum_likelihood_as_a_survival_library_finds_it(
    law, seed, count, cut_short
):
    """lifelines, accelerated failure time regression under right censoring."""
    import lifelines  # takes seconds, and is not needed by other tests
    import pandas as pd

    rng = np.random.default_rng(seed)
    columns = rng.normal(size=(count, 2)) * 0.5
    noise = np.log(rng.exponential(size=count)) if law == "weibull" else rng.normal(size=count)
    logs = 2.0 + columns @ [-3.0, -1.0] + 0.4 * noise
    ended = rng.random(count) >= cut_short
    assume(ended.sum() >= 8)
    logs = logs - np.where(ended, 0.0, rng.exponential(size=count))

    design = np.column_stack([np.ones(count), columns])
    ours = fit_life_regression(design, logs, ended, flat_prior(3), law)
    table = {"T": np.exp(logs), "E": ended, "x0": columns[:, 0], "x1": columns[:, 1]}
    try:
        theirs = getattr(lifelines, FITTERS[law])().fit(pd.DataFrame(table), "T", "E")
    except lifelines.exceptions.ConvergenceError:
        reject()  # about one shop in thousands, where the library has no answer to compare with

    scale, spread = ("lambda_", "rho_") if law == "weibull" else ("mu_", "sigma_")
    names = [(scale, "Intercept"), (scale, "x0"), (scale, "x1"), (spread, "Intercept")]
    sign = -1 if law == "weibull" else 1  # of ln sigma against ln shape
    assert [*ours.beta, sign * math.log(ours.sigma)] == pytest.approx(
        [theirs.params_[name] for name in names], abs=2e-3
    )
    assert np.sqrt(np.diag(ours.covariance)) == pytest.approx(
        [theirs.standard_errors_[name] for name in names], rel=2e-2
    )
    # ours per ln T, theirs per T; and ours has to be the higher of the two
    assert ours.log_likelihood - logs[ended].sum() >= theirs.log_likelihood_ - 1e-6
    assert ours.log_likelihood - logs[ended].sum() == pytest.approx(
        theirs.log_likelihood_, abs=1e-3
    )


speeds = st.floats(0.02, 9_000)
feeds = st.floats(2e-5, 49)
lives = st.floats(1e-4, 1e6)


@settings(max_examples=150)
@given(
    tests=st.lists(st.tuples(speeds, lives, st.booleans(), feeds, feeds), min_size=1),
    feed=st.booleans(),
    depth=st.booleans(),
    use=st.sampled_from(USES),
    law=st.sampled_from(LAWS),
)
def test_any_lives_give_a_finite_answer_or_a_refusal(tests, feed, depth, use, law):
    v, t, ended, f, d = zip(*tests, strict=True)
    try:
        found = estimate_constants(
            life_tests(v, t, ended, f if feed else None, d if depth else None),
            use=use,
            law=law,
        )
    except OutsideModel:
        return
    numbers = [found.n_se, found.c_se_m_min, found.residual_deviation]
    at = found.life_at(100, 0.1, 1)
    assert np.isfinite([*numbers, at.life_min, at.life_low_min, at.life_high_min]).all()
    assert min(numbers) > 0
    assert at.life_low_min < at.life_min < at.life_high_min


@settings(max_examples=50)
@given(
    n=st.floats(0.1, 0.6), c=st.floats(50, 900), a=st.floats(0, 0.8), b=st.floats(0, 0.4),
    law=st.sampled_from(LAWS),
)  # fmt: skip
def test_lives_on_a_curve_give_back_the_curve(n, c, a, b, law):
    curve = TaylorConstants(n, c, a, b, 0.1, 1.0)
    v, f, d = (cut.ravel() for cut in np.meshgrid([60, 80, 110], [0.05, 0.12], [0.5, 1.5]))
    t = life_min(v, f, d, curve)
    assume(t.min() > 1e-3 and t.max() < 1e5)

    found = estimate_constants(
        life_tests(v, t, None, f, d), law=law,
        reference_feed_mm_rev=0.1, reference_depth_mm=1.0,
    ).constants  # fmt: skip

    assert found.n == pytest.approx(n, rel=1e-3)
    assert found.feed_exponent == pytest.approx(a, abs=1e-3)
    assert found.depth_exponent == pytest.approx(b, abs=1e-3)
    assert found.c_m_min == pytest.approx(c, rel=1e-2)


@given(
    n=st.floats(0.05, 1), c=st.floats(1, 9_000), a=st.floats(0, 1), b=st.floats(0, 1),
    feed=st.none() | st.floats(0.01, 5), depth=st.none() | st.floats(0.1, 10),
)  # fmt: skip
def test_the_power_law_is_the_same_curve(n, c, a, b, feed, depth):
    curve = TaylorConstants(n, c, a, b, feed, depth)
    law = power_law(curve)
    ln_life = (
        law.ln_k
        - law.speed_power * math.log(90)
        - law.feed_power * math.log(0.2)
        - law.depth_power * math.log(1.5)
    )
    assume(abs(ln_life) < 20)

    assert float(life_min(90, 0.2, 1.5, curve)) == pytest.approx(math.exp(ln_life), rel=1e-8)


@pytest.mark.parametrize("law", LAWS)
def test_the_band_of_a_foretold_life_covers_what_then_happens(law):
    rng = np.random.default_rng(11)
    truth = TaylorConstants(0.27, 300, 0.3, 0.0, 0.1)
    hits = []
    for _ in range(150):
        v, f = rng.uniform((80, 0.06), (160, 0.14), (13, 2)).T
        noise = (
            np.log(rng.exponential(size=13) / math.log(2))
            if law == "weibull"
            else rng.normal(size=13)
        )
        t = life_min(v, f, None, truth) * np.exp(0.3 * noise)
        tests = life_tests(v[1:], t[1:], rng.random(12) < 0.8, f[1:])
        at = estimate_constants(tests, law=law).life_at(v[0], f[0])
        hits.append(at.life_low_min <= t[0] <= at.life_high_min)

    # a fifth of the lives were cut short at their very end, so the bands lie a little high
    assert 0.70 <= np.mean(hits) <= 0.93


@pytest.mark.parametrize("part_sd", [0.0, 0.1, 0.2])
def test_exponents_that_are_used_come_nearer_than_those_in_force(part_sd):
    """Shops whose true powers scatter about the handbook's, parts apart by chance as well."""
    rng = np.random.default_rng(5)
    in_force = TaylorConstants(0.25, 260, 0.3, 0.1, 0.1, 1.0)
    law = power_law(in_force)
    believed = np.array([law.speed_power, law.feed_power, law.depth_power])
    usual = np.log([100, 0.08, 1.0])
    off, before, covered = [], [], []
    for _ in range(120):
        powers = believed * np.exp(rng.normal(0, 0.3, 3))
        parts, each = int(rng.integers(2, 7)), int(rng.integers(4, 16))
        cuts = usual + rng.normal(0, 1, (parts, 3)) * [0.2, 0.3, 0.4]
        part = np.repeat(np.arange(parts), each)
        x = cuts[part]
        shape = rng.uniform(2, 5)
        ln_life = 3 - (x - usual) @ powers + rng.normal(0, part_sd, parts)[part]
        ln_life += np.log(rng.exponential(size=len(part))) / shape
        ended = rng.random(len(part)) < 0.6
        ln_life += np.where(ended, 0.0, np.log(rng.uniform(0.5, 1, len(part))))
        wear = np.exp(ln_life) / life_min(*np.exp(x).T, in_force)

        found = estimate_from_own_lives(OwnLives(wear, ended, x, part, 0 * part), in_force)

        if not found.used:
            continue
        law = power_law(found.constants)
        estimated = np.array([law.speed_power, law.feed_power, law.depth_power])
        new = usual + rng.normal(0, 1, 3) * [0.25, 0.35, 0.45]
        away = new - found.doubt.ln_cut
        off.append((estimated - powers) @ away)
        before.append((believed - powers) @ away)
        covered.append(abs(off[-1]) < 1.28155 * found.doubt.spread_at(tuple(new)))

    assert len(off) > 40
    assert np.std(off) < 0.75 * np.std(before)
    assert np.mean(covered) > 0.65
