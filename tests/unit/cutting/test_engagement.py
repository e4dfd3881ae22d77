"""Minutes in cut by kind of operation, under limits, and what is refused."""

import math

import pytest

from crib.cutting.engagement import engage
from crib.cutting.operations import KINDS, CutOperation
from crib.errors import OutsideModel

# The thread of the published row on passes.
M6 = {"start_diameter_mm": 6, "end_diameter_mm": 4.772, "depth_mm": 0.15, "feed_mm_rev": 1.0}


def op(kind="turn", **given):
    base = {
        "start_diameter_mm": 12.0,
        "length_mm": 20.0,
        "feed_mm_rev": 0.05,
        "cutting_speed_m_min": 90.0,
    }
    return CutOperation(kind, **{**base, **given})


def test_small_work_runs_at_the_limit_and_slower_than_programmed():
    cut = engage(op(start_diameter_mm=3, cutting_speed_m_min=120), {"machine": 10_000})

    assert cut.spindle_rpm == 10_000
    assert cut.limited_by == "machine"
    assert cut.cutting_speed_m_min == pytest.approx(94.2478, abs=1e-4)
    assert cut.clamp_diameter_mm == pytest.approx(3.8197, abs=1e-4)
    assert cut.engaged_min == pytest.approx(20 / (0.05 * 10_000))


def test_a_limit_that_does_not_bind_limits_nothing():
    cut = engage(op(), {"machine": 10_000, "tool": 20_000})

    assert cut.limited_by is None
    assert cut.cutting_speed_m_min == pytest.approx(90)


def test_passes_come_from_depth_and_each_runs_on_its_own_diameter():
    cut = engage(op(end_diameter_mm=6, depth_mm=1.5))

    rpms = [1000 * 90 / (math.pi * d) for d in (12, 9)]
    assert cut.passes == 2
    assert cut.engaged_min == pytest.approx(sum(20 / (0.05 * rpm) for rpm in rpms))
    assert cut.equivalent_min == pytest.approx(cut.engaged_min)
    assert cut.spindle_rpm == pytest.approx(rpms[1])
    assert cut.length_cut_m == pytest.approx(math.pi * (12 + 9) * 20 / 0.05 / 1000)


def test_a_slower_pass_wears_less_than_its_minutes():
    cut = engage(op(end_diameter_mm=6, passes=2, spindle_rpm=2000, cutting_speed_m_min=None))

    each = 20 / (0.05 * 2000)
    assert cut.engaged_min == pytest.approx(2 * each)
    assert cut.cutting_speed_m_min == pytest.approx(math.pi * 12 * 2)
    assert cut.equivalent_min == pytest.approx(each * (1 + (9 / 12) ** 4))


def test_boring_takes_the_speed_of_the_larger_diameter():
    cut = engage(op("bore", start_diameter_mm=8, end_diameter_mm=10))

    assert cut.spindle_rpm == pytest.approx(1000 * 90 / (math.pi * 10))
    assert cut.depth_mm == 1.0


def test_parting_goes_to_the_centre_and_a_groove_to_its_depth():
    whole = engage(op("part_off", length_mm=None), {"machine": 8000})
    to_bore = engage(op("part_off", end_diameter_mm=5.0), {"machine": 8000})
    groove = engage(op("groove", depth_mm=3.5), {"machine": 8000})

    assert groove.engaged_min == pytest.approx(to_bore.engaged_min)
    assert whole.engaged_min > to_bore.engaged_min
    assert whole.limited_by == "machine"
    assert whole.equivalent_min < whole.engaged_min
    assert whole.depth_mm is None


def test_facing_at_fixed_revolutions_is_clamped_all_the_way():
    cut = engage(op("face", cutting_speed_m_min=None, spindle_rpm=3000))

    assert cut.engaged_min == pytest.approx(6 / (0.05 * 3000))
    assert cut.equivalent_min == pytest.approx(cut.engaged_min / 5)
    assert cut.cutting_speed_m_min == pytest.approx(math.pi * 12 * 3)
    assert cut.spindle_rpm == 3000
    assert cut.limited_by is None


def test_facing_to_the_centre_without_a_limit_has_no_highest_speed():
    cut = engage(op("face"))

    assert cut.spindle_rpm is None
    assert cut.engaged_min == pytest.approx(math.pi * 36 / (1000 * 90 * 0.05))


def test_a_programmed_speed_beside_a_surface_speed_is_the_programs_limit():
    cut = engage(op(start_diameter_mm=3, spindle_rpm=4000), {"machine": 10_000})

    assert (cut.spindle_rpm, cut.limited_by) == (4000, "program")


def test_pecks_cut_no_metal_twice_but_reaming_twice_does():
    once = engage(op("drill"))

    assert engage(op("drill", passes=4)).engaged_min == pytest.approx(once.engaged_min)
    assert engage(op("ream", passes=2)).engaged_min == pytest.approx(2 * once.engaged_min)


def test_thread_passes_follow_from_constant_chip_area():
    cut = engage(op("thread", **M6))

    assert cut.passes == 17


def test_spring_passes_are_cut_beside_those_with_infeed():
    assert engage(op("thread", **M6, spring_passes=1)).passes == 18
    assert engage(op("thread", passes=12, spring_passes=2)).passes == 14
    with pytest.raises(OutsideModel, match="threads only"):
        engage(op(spring_passes=1))


def test_a_feed_that_never_ends_the_cut_is_refused():
    with pytest.raises(OutsideModel, match="more than a day") as refusal:
        engage(op(feed_mm_rev=1e-6))

    assert refusal.value.errors[0]["field"] == "feed_mm_rev"


@pytest.mark.parametrize("kind", ["turn", "groove"])
def test_a_cut_past_the_axis_is_refused(kind):
    with pytest.raises(OutsideModel, match="past the axis"):
        engage(op(kind, depth_mm=6.5))


def test_a_first_pass_too_shallow_to_count_names_its_column():
    with pytest.raises(OutsideModel) as refusal:
        engage(op("thread", feed_mm_rev=6, end_diameter_mm=2, depth_mm=1e-3))

    assert refusal.value.errors[0]["field"] == "depth_mm"


def test_a_thread_without_passes_or_depths_asks_for_passes():
    with pytest.raises(OutsideModel, match="passes"):
        engage(op("thread"))


def test_revolutions_alone_give_time_but_no_speed():
    cut = engage(op("mill", start_diameter_mm=None, cutting_speed_m_min=None, spindle_rpm=2500))

    assert cut.engaged_min == pytest.approx(20 / (0.05 * 2500))
    assert cut.cutting_speed_m_min is None
    assert cut.length_cut_m is None


def test_measured_time_overrides_and_keeps_the_wear_per_minute():
    computed = engage(op("part_off"), {"machine": 8000})
    measured = engage(op("part_off", engaged_s=6), {"machine": 8000})

    assert measured.engaged_min == pytest.approx(0.1)
    ratio = computed.equivalent_min / computed.engaged_min
    assert measured.equivalent_min == pytest.approx(0.1 * ratio)
    assert measured.cutting_speed_m_min == computed.cutting_speed_m_min


def test_measured_time_alone_is_enough():
    cut = engage(CutOperation("turn", engaged_s=12))

    assert cut.engaged_min == pytest.approx(0.2)
    assert cut.equivalent_min == pytest.approx(0.2)
    assert cut.cutting_speed_m_min is None


def test_oscillating_feed_is_in_contact_for_its_share():
    whole, part = engage(op()), engage(op(contact_share=0.5))

    assert part.engaged_min == pytest.approx(whole.engaged_min / 2)
    assert part.equivalent_min == pytest.approx(whole.equivalent_min / 2)


@pytest.mark.parametrize("kind", KINDS)
def test_an_empty_operation_names_what_is_missing(kind):
    with pytest.raises(OutsideModel) as refusal:
        engage(CutOperation(kind))

    named = {error["field"] for error in refusal.value.errors}
    assert {"feed_mm_rev", "cutting_speed_m_min or spindle_rpm", "start_diameter_mm"} <= named
    assert ("length_mm" in named) == (kind not in ("face", "groove", "part_off"))


def test_a_radial_cut_of_no_depth_is_refused():
    with pytest.raises(OutsideModel, match="same diameter"):
        engage(op("face", end_diameter_mm=12.0))


@pytest.mark.parametrize("n", [0, -0.25, math.nan, 5])
def test_an_exponent_that_cannot_be_is_refused(n):
    with pytest.raises(OutsideModel, match="exponent"):
        engage(op(), taylor_n=n)
