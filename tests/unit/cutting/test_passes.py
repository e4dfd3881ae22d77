"""Thread infeeds and pecks."""

import math

import pytest

from crib.cutting.passes import peck_paths, thread_depths_mm, thread_passes
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
def test_infeeds_and_pecks_that_cannot_be_are_refused(bad):
    with pytest.raises(OutsideModel, match="first_depth_mm"):
        thread_passes(0.6, bad)
    with pytest.raises(OutsideModel, match="peck_mm"):
        peck_paths(20, bad, 1, 0.2)


def test_a_clearance_of_a_whole_peck_is_refused():
    with pytest.raises(OutsideModel, match="clearance_mm"):
        peck_paths(20, 5, 1, 5)


def test_one_peck_goes_in_and_out_once():
    assert peck_paths(5, 6, 1, 0.25) == (1, 6, 6, 5)
