"""One key at one shape against quadrature."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import digamma, polygamma

from crib.life.conjugate import inverse_trigamma, posterior_moments, rate_from_moments


@pytest.mark.parametrize("a", [1e-3, 0.1, 0.6, 1.0, 7.0, 500.0, 1e6])
def test_the_inverse_of_trigamma_is_its_inverse(a):
    assert inverse_trigamma(np.array([polygamma(1, a)]))[0] == pytest.approx(a, rel=1e-4)


@pytest.mark.parametrize(("mean", "sd", "shape"), [(0.0, 0.4, 3.0), (2.0, 0.1, 8.0)])
def test_a_rate_carries_the_moments_of_its_scale(mean, sd, shape):
    a, log_b = rate_from_moments(np.array([mean]), np.array([sd**2]), shape)

    assert (log_b - digamma(a))[0] / shape == pytest.approx(mean, abs=1e-4)
    assert np.sqrt(polygamma(1, a[0])) / shape == pytest.approx(sd, rel=1e-4)


@pytest.mark.parametrize("shape", [1.5, 3.0, 8.0])
@pytest.mark.parametrize(
    ("worn", "powers"), [(0, 0.5), (0, 40.0), (1, 1.0), (3, 0.2), (12, 9.0), (200, 260.0)]
)
def test_posterior_moments_agree_with_quadrature(shape, worn, powers):
    mean, sd = 0.1, 0.35

    found = posterior_moments(
        np.array([mean]), np.array([sd**2]), np.array([float(worn)]), np.log([powers]), shape
    )

    grid = np.linspace(mean - 9 * sd, mean + 9 * sd, 200_001)
    log_f = (
        -((grid - mean) ** 2) / (2 * sd**2)
        - np.log(sd * np.sqrt(2 * np.pi))
        - shape * worn * grid
        - powers * np.exp(-shape * grid)
    )
    top = log_f.max()
    f = np.exp(log_f - top)
    total = np.trapezoid(f, grid)
    centre = np.trapezoid(f * grid, grid) / total
    spread = np.trapezoid(f * (grid - centre) ** 2, grid) / total
    assert found.mean[0] == pytest.approx(centre, abs=2e-3)
    assert np.sqrt(found.variance[0]) == pytest.approx(np.sqrt(spread), rel=0.02)
    assert found.log_evidence[0] == pytest.approx(top + np.log(total), abs=5e-3)


def test_evidence_of_one_life_is_its_predictive_density():
    shape, x = 2.5, 0.7

    found = posterior_moments(
        np.zeros(1), np.array([0.09]), np.ones(1), np.log([x**shape]), shape
    )
    ours = np.exp(found.log_evidence[0]) * shape * x ** (shape - 1)

    def density(u):
        theta = np.exp(u)
        life = shape / theta * (x / theta) ** (shape - 1) * np.exp(-((x / theta) ** shape))
        return life * np.exp(-(u**2) / 0.18) / np.sqrt(0.18 * np.pi)

    assert ours == pytest.approx(quad(density, -3, 3)[0], rel=1e-4)
