"""What is held of the scatter of lives before any is seen."""

import numpy as np
import pytest
from scipy.special import gamma

from crib.life.law import SHAPES, SPREADS
from crib.life.shapes import law_prior, normalised


def test_lives_of_like_edges_are_first_held_to_scatter_by_20_to_40_per_cent():
    moments = [gamma(1 + power / SHAPES) for power in (1, 2)]
    weibull = np.sqrt(moments[1] / moments[0] ** 2 - 1)
    scatter = np.concatenate([weibull, np.sqrt(np.expm1(SPREADS**2))])
    weights = normalised(law_prior()[None, :])[0]

    # two thirds of the chances between, as much of the rest above as below
    between = (scatter > 0.2) & (scatter < 0.4)
    assert weights[between].sum() == pytest.approx(2 / 3, abs=0.1)
    assert weights[scatter > 0.4].sum() == pytest.approx(weights[scatter < 0.2].sum(), abs=0.15)
    assert weights[: len(SHAPES)].sum() == pytest.approx(0.5)
