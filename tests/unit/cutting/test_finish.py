"""Roughness and crater criterion."""

import pytest

from crib.cutting.finish import crater_limit_mm, ideal_mean_um, ideal_peak_um
from crib.errors import OutsideModel


def test_mean_roughness_is_that_of_the_worked_example():
    """Groover, surface finish example (from memory)."""
    assert ideal_mean_um(0.25, 1.2) == pytest.approx(1.628, abs=0.001)


def test_peak_to_valley_follows_the_round_corner():
    assert ideal_peak_um(0.1, 0.4) == pytest.approx(3.13725, abs=1e-4)
    with pytest.raises(OutsideModel):
        ideal_peak_um(1.0, 0.4)


def test_the_crater_limit_grows_with_the_feed():
    """ISO 3685, carbide (from memory)."""
    assert crater_limit_mm(0.2) == pytest.approx(0.12)
