"""Weibull's law against quadrature and at its ends."""

import math

import numpy as np
import pytest

from crib.errors import OutsideModel
from crib.life.weibull import (
    failure,
    hazard,
    quantile,
    survival,
)


def test_hazard_is_the_slope_of_survival():
    x, h = 0.8, 1e-6
    slope = -(np.log(survival(x + h, 2.3, 1.1)) - np.log(survival(x - h, 2.3, 1.1))) / (2 * h)

    assert hazard(x, 2.3, 1.1) == pytest.approx(slope, rel=1e-6)


def test_tiny_chances_of_failing_are_exact():
    assert failure(1e-6, 3.0, 1.0) == pytest.approx(1e-18, rel=1e-12)


def test_a_quantile_is_where_survival_says():
    p = np.array([1e-9, 0.05, 0.5, 0.999])

    assert failure(quantile(p, 2.2, 7.0), 2.2, 7.0) == pytest.approx(p)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_a_law_that_cannot_be_is_refused(bad):
    with pytest.raises(OutsideModel, match="Shape and scale"):
        survival(1, bad, 1)
    with pytest.raises(OutsideModel, match="Shape and scale"):
        survival(1, 1, bad)


def test_a_probability_of_one_and_a_negative_age_are_refused():
    with pytest.raises(OutsideModel, match="probability"):
        quantile(1.0, 2, 1)
    with pytest.raises(OutsideModel, match="age"):
        survival(-1, 2, 1)
