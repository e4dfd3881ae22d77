"""Thread infeeds."""

import math

import pytest

from crib.cutting.passes import thread_depths_mm, thread_passes
from crib.errors import OutsideModel


def test_one_deep_first_pass_needs_no_more():
    assert thread_passes(0.3, 0.3) == 1
    assert thread_passes(0.6, 0.3) == 4
    assert thread_depths_mm(0.6, 1) == (0.6,)


def test_the_first_infeed_follows_from_the_number_of_passes():
    depths = thread_depths_mm(0.614, 12)

    assert depths[0] == pytest.approx(0.614 / math.sqrt(12))
    assert depths[-1] == 0.614


def test_passes_that_do_not_reach_the_depth_are_refused_with_those_that_do():
    with pytest.raises(OutsideModel, match="17 passes do"):
        thread_depths_mm(0.614, 16, 0.15)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf, 1e-9])
def test_infeeds_that_cannot_be_are_refused(bad):
    with pytest.raises(OutsideModel, match="first_depth_mm"):
        thread_passes(0.6, bad)
