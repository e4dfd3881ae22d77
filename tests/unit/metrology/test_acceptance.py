"""How many tools outside their tolerance are accepted: at most 2.5 %, however few repeats."""

import os

import numpy as np
import pytest
from scipy import stats

from crib.metrology.preset import Reading, measure
from crib.metrology.scatter import known_scatter

#: Trials that the product itself judges; the share is taken over TRIALS by the rule as
#: written here. CRIB_ACCEPTANCE_TRIALS=10000 judges each of them by the product.
TRIALS = 10_000
JUDGED = int(os.environ.get("CRIB_ACCEPTANCE_TRIALS", "20"))
TOLERANCE = 200  # ±, in 0.1 µm like every length here
GAUGE = 10.0
MOST = 0.025
#: Three standard deviations of a share of MOST among the trials.
CHANCE = 3 * (MOST * (1 - MOST) / TRIALS) ** 0.5
LEVEL = (1 + 0.9545) / 2


def draw(repeats, scatter, step, seed):
    """Readings off nominal of tools that lie just outside; the gauge errs by itself."""
    rng = np.random.default_rng([seed, repeats, round(scatter)])
    error = rng.normal(0, GAUGE, (TRIALS, 1))
    # any size within a step: nothing falls onto the marks of the display by design
    nominal = rng.uniform(0, step, (TRIALS, 1))
    truth = TOLERANCE + 0.01 + nominal + error + rng.normal(0, scatter, (TRIALS, repeats))
    return np.rint(truth / step) * step - nominal


def history(scatter, known, rng):
    """Presets of the same gauge before, three repeats each."""
    if not known:
        return None
    return known_scatter(
        [(3, one / 10_000) for one in rng.normal(0, scatter, (30, 3)).std(1, ddof=1)]
    )


def accepted(off, step, known):
    """The rule in numpy and scipy.stats alone: Welch and Satterthwaite, or each part's own."""
    repeats = off.shape[1]
    other = np.hypot(GAUGE, step / 12**0.5)
    own = np.full(len(off), 60.0) if repeats == 1 else off.std(axis=1, ddof=1)
    freedom = np.full(len(off), float(repeats - 1))
    if repeats > 1:
        own = np.maximum(own, step / 12**0.5)
    if known is not None:
        usual, many = known.standard_deviation_mm * 10_000, known.degrees_of_freedom
        if repeats == 1:
            own, freedom = np.full(len(off), max(usual, 20.0)), freedom + many
        else:
            alike = own**2 <= stats.f.ppf(0.95, repeats - 1, many) * usual**2
            both = (many * usual**2 + (repeats - 1) * own**2) / (many + repeats - 1)
            own = np.where(alike, np.sqrt(both), own)
            freedom = np.where(alike, freedom + many, freedom)
    mean_sd = own / repeats**0.5
    whole = np.hypot(mean_sd, other)
    sure = freedom == 0
    freedom = np.where(sure, 1e9, freedom)
    effective = np.maximum(1, np.floor(freedom * (whole / mean_sd) ** 4 + 1e-9))
    by_freedom = stats.t.ppf(LEVEL, np.minimum(effective, 1e9)) * whole
    by_part = np.hypot(stats.t.ppf(LEVEL, freedom) * mean_sd, stats.norm.ppf(LEVEL) * other)
    guard = np.maximum(by_freedom, by_part)
    mean = np.rint(off.mean(axis=1))  # as the preset keeps it
    inside = np.abs(mean) <= TOLERANCE - guard
    return inside & (np.abs(off) <= TOLERANCE).all(axis=1)


WORLDS = [
    # standard deviation of a reading [0.1 µm], step of the display, earlier presets known
    (10, 10, 0),
    (20, 1, 0),
    (20, 10, 1),
    (50, 10, 0),
    (50, 1, 1),
    (100, 10, 1),
]


@pytest.mark.parametrize("repeats", [1, 2, 3, 5])
@pytest.mark.parametrize(("scatter", "step", "known"), WORLDS)
def test_few_tools_outside_are_accepted(repeats, scatter, step, known):
    rng = np.random.default_rng(7)
    usual = history(scatter, known, rng)
    assert usual is None or scatter <= usual.standard_deviation_mm * 10_000 <= 1.4 * scatter
    off = draw(repeats, scatter, step, seed=3)

    ours = accepted(off, step, usual)

    assert ours.mean() <= MOST + CHANCE, f"{ours.mean():.2%}"
    # the product says the same of the same readings; half of them near the verdict's edge
    edge = np.argsort(off.mean(axis=1))[: JUDGED // 2]
    for one in {*edge, *range(JUDGED // 2 if JUDGED < TRIALS else TRIALS)}:
        nominal = 800_000
        readings = [Reading(nominal + round(value)) for value in off[one]]
        exact = accepted(np.rint(off[[one]]), step, usual)[0]
        said = measure(
            readings,
            {"LF": nominal},
            TOLERANCE,
            GAUGE / 10_000,
            resolution_mm=step / 10_000,
            known=usual and {"LF": usual},
        )
        assert said.accepted == exact, off[one]
