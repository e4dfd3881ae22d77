"""Roughness."""

import pytest

from crib.cutting.finish import ideal_mean_um, parabola_peak_um
from crib.errors import OutsideModel


def test_mean_roughness_is_that_of_the_worked_example():
    """Groover, surface finish example (from memory)."""
    assert ideal_mean_um(0.25, 1.2) == pytest.approx(1.628, abs=0.001)


def test_a_feed_above_twice_the_corner_has_no_profile():
    with pytest.raises(OutsideModel):
        parabola_peak_um(1.0, 0.4)
