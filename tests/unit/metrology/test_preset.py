"""Repeats become an exact mean, an uncertainty and a verdict."""

import math

import pytest

from crib.errors import Invalid
from crib.metrology.budget import UNKNOWN_SCATTER_MM
from crib.metrology.preset import (
    Reading,
    mean_tenths_um,
    measure,
)
from crib.metrology.scatter import known_scatter


def readings(*lf, wf=None, re=None):
    return [Reading(value, wf, None, re) for value in lf]


def test_the_mean_is_exact_and_rounded_half_to_even():
    result = measure([Reading(800_001, 100_003), Reading(800_002, 100_004)])

    assert result.means_tenths_um() == {"LF": 800_002, "WF": 100_004}


def test_the_uncertainty_joins_spread_gauge_and_display_as_few_repeats_ask():
    result = measure(
        readings(800_000, 800_020, 800_040), {"LF": 800_000}, 200, gauge_uncertainty_mm=0.003
    )

    (lf,) = result.measures
    assert lf.n == 3
    assert lf.standard_deviation_mm == pytest.approx(0.002)
    assert lf.type_a_mm == pytest.approx(0.002 / math.sqrt(3))
    # t for 2 degrees of freedom at 95.45 %: JCGM 100:2008, table G.2; a step of 0.001 mm
    parts = (4.53 * lf.type_a_mm, 2 * 0.003, 2 * 0.001 / math.sqrt(12))
    assert lf.expanded_uncertainty_mm == pytest.approx(math.hypot(*parts), rel=1e-3)
    assert result.accepted
    assert result.why_not == ()


def test_a_mean_inside_the_limits_but_within_the_uncertainty_of_one_is_not_accepted():
    result = measure(
        readings(800_190, 800_190, 800_190), {"LF": 800_000}, 200, gauge_uncertainty_mm=0.001
    )

    assert not result.accepted
    assert result.why_not == (
        "LF is 80.0190 mm; the limits are 79.9800 mm to 80.0200 mm, less the uncertainty of "
        "0.0023 mm on each side.",
    )


def test_a_good_mean_does_not_hide_a_reading_outside_the_tolerance():
    values = [800_000] * 9 + [800_201]

    result = measure(readings(*values), {"LF": 800_000}, 200, gauge_uncertainty_mm=0.001)

    assert not result.accepted
    assert result.why_not == (
        "Reading 10 of LF is 80.0201 mm, outside the limits 79.9800 mm to 80.0200 mm. Clean "
        "the seat and measure again.",
    )
    values[-1] = 800_200
    assert measure(readings(*values), {"LF": 800_000}, 200).accepted


def test_a_mean_exactly_on_the_guarded_limit_is_accepted():
    result = measure(
        readings(800_180, 800_180, 800_180),
        {"LF": 800_000},
        200,
        gauge_uncertainty_mm=0.001,
        resolution_mm=0.0,
    )

    assert result.accepted


def test_an_uncertainty_as_wide_as_the_tolerance_can_accept_nothing():
    result = measure(
        readings(800_000, 800_000), {"LF": 800_000}, 20, gauge_uncertainty_mm=0.002
    )

    assert not result.accepted
    assert "fills the whole tolerance" in result.why_not[0]


def test_one_reading_of_an_unknown_gauge_is_charged_a_wide_scatter():
    result = measure(
        readings(800_000), {"LF": 800_000}, 200, gauge_uncertainty_mm=0.0, resolution_mm=0.0
    )

    (lf,) = result.measures
    assert lf.standard_deviation_mm is None
    assert lf.type_a_mm == UNKNOWN_SCATTER_MM
    assert lf.expanded_uncertainty_mm == pytest.approx(2 * UNKNOWN_SCATTER_MM, rel=1e-5)
    assert result.accepted


def test_one_reading_of_a_known_gauge_is_charged_what_its_presets_show():
    known = known_scatter([(3, 0.003)] * 30)
    nominal, tolerance = {"LF": 800_000}, 200

    result = measure(readings(800_090), nominal, tolerance, known={"LF": known})

    (lf,) = result.measures
    assert 0.003 < lf.type_a_mm == known.standard_deviation_mm < 0.004
    assert result.accepted
    alone = measure(readings(800_090), nominal, tolerance)
    assert alone.why_not[-1] == "LF: measure at least 3 times to make it smaller."


def test_a_master_that_sits_well_does_not_make_presets_look_better():
    presets = [(3, 0.003)] * 30

    assert known_scatter(presets, 0.0005) == known_scatter(presets)
    assert known_scatter(presets, 0.02).standard_deviation_mm == 0.02


@pytest.mark.parametrize(
    "few", [[], [(3, 0.003)] * 4, [(2, 0.003)] * 9, [(1, None)] * 99, [(3, 0.0)] * 99]
)
def test_too_few_or_equal_readings_make_no_known_gauge(few):
    assert known_scatter(few) is None


def test_one_loose_screw_does_not_spoil_what_is_known_of_a_gauge():
    good = [(3, 0.002), (3, 0.001), (3, 0.003), (3, 0.0015)] * 6

    with_it = known_scatter([*good, (3, 0.8)])

    assert with_it.standard_deviation_mm < 1.15 * known_scatter(good).standard_deviation_mm


def test_repeats_much_wider_than_usual_are_judged_by_themselves():
    known = {"LF": known_scatter([(3, 0.001)] * 30)}
    values = (800_000, 800_100, 800_050)

    (usual,) = measure(readings(*values), {"LF": 800_000}, 200, known=known).measures
    (alone,) = measure(readings(*values), {"LF": 800_000}, 200).measures

    assert usual == alone


def test_without_a_nominal_only_the_scatter_is_judged():
    steady = measure(readings(800_000, 800_010, 800_005))
    loose = measure(readings(800_000, 803_000, 800_005))

    assert steady.accepted
    assert not loose.accepted
    assert "LF scatters: 80.3000 mm" in loose.why_not[0]


def test_every_measure_that_fails_says_so():
    result = measure(
        [Reading(900_000, 150_000, None, 2_000)] * 3,
        {"LF": 800_000, "WF": 100_000, "RE": 4_000},
        200,
    )

    assert [sentence[:2] for sentence in result.why_not] == ["LF", "WF", "RE"]
    assert [row.accepted for row in result.measures] == [False, False, False]


def test_a_radius_may_be_a_tenth_off_where_the_lengths_may_not():
    result = measure([Reading(800_000, None, None, 7_700)] * 3, {"RE": 8_000}, 200)

    assert result.accepted


def test_readings_that_carry_different_measures_are_refused():
    with pytest.raises(Invalid, match="Reading 2 has LF, reading 1 has LF, WF"):
        measure([Reading(800_000, 100_000), Reading(800_000)])


@pytest.mark.parametrize("none", [[], [Reading()]])
def test_nothing_measured_is_refused(none):
    with pytest.raises(Invalid, match=r"no readings|measures nothing"):
        measure(none)


def test_a_needed_measure_that_is_missing_is_refused():
    with pytest.raises(Invalid, match="WF must be measured") as caught:
        measure(readings(800_000), {"LF": 800_000, "WF": 100_000}, 200)

    assert caught.value.errors == [{"field": "readings.0.wf_mm", "detail": "missing"}]
    with pytest.raises(Invalid, match="HF must be measured"):
        measure(readings(800_000), needed=["HF"])


def test_radius_zero_is_refused_on_a_turning_insert_and_fine_on_a_drill():
    with pytest.raises(Invalid, match="nose radius 0"):
        measure(readings(800_000, re=0), {"LF": 800_000, "RE": 4_000}, 200)

    assert measure(readings(800_000, re=0), {"LF": 800_000}, 200).accepted


def test_a_negative_radius_is_refused():
    with pytest.raises(Invalid, match="cannot be negative"):
        measure(readings(800_000, re=-1))


@pytest.mark.parametrize("tolerance", [0, -200])
def test_a_tolerance_without_width_is_refused(tolerance):
    with pytest.raises(Invalid, match="above zero"):
        measure(readings(800_000), {"LF": 800_000}, tolerance)


def test_an_unknown_measure_is_refused_by_name():
    with pytest.raises(Invalid, match="XX is not a measure"):
        measure(readings(800_000), {"XX": 1})


def test_a_flood_of_readings_is_refused():
    with pytest.raises(Invalid, match="too many"):
        measure(readings(*[800_000] * 1001))


def test_a_mean_of_whole_numbers_far_beyond_floats_is_exact():
    assert mean_tenths_um([10**17, 10**17 + 1, 10**17 + 2]) == 10**17 + 1


def test_a_radius_of_nothing_says_which_reading_it_is():
    good, sharp = Reading(800_000, None, None, 8_000), Reading(800_000, None, None, 0)

    with pytest.raises(Invalid, match="Reading 2 gives nose radius 0") as refused:
        measure([good, sharp], {"RE": 8_000})

    assert refused.value.errors == [
        {"field": "readings.1.re_mm", "detail": "not a nose radius"}
    ]
