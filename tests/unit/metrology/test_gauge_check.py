"""A gauge is believed only after a good check on its master."""

import pytest

from crib.errors import Invalid, OutsideModel
from crib.metrology.gauge_check import check_gauge, pooled_deviation, why_no_study
from crib.metrology.repeatability import study

MASTER = 500_000


def test_three_steady_readings_on_the_master_are_enough_in_the_morning():
    check = check_gauge([500_000, 500_005, 500_010], MASTER)

    assert check.valid
    assert check.mean_tenths_um == 500_005
    assert check.bias_mm == pytest.approx(0.0005)


def test_a_bumped_gauge_is_not_valid():
    check = check_gauge([500_080, 500_081, 500_082], MASTER)

    assert not check.valid
    assert "+0.0081 mm off the master; at most 0.0040 mm" in check.why_not[0]


def test_a_loose_gauge_is_not_valid():
    check = check_gauge([499_970, 500_000, 500_030], MASTER)

    assert not check.valid
    assert "Cg is 0.44, at least 1.00" in check.why_not[0]


def test_bias_and_scatter_each_good_alone_may_be_too_much_together():
    check = check_gauge([500_025, 500_030, 500_035], MASTER)

    assert check.cg == pytest.approx(0.008 / (6 * 0.0005))
    assert check.cgk == pytest.approx((0.004 - 0.003) / (3 * 0.0005))
    assert not check.valid
    assert "Cgk is 0.67" in check.why_not[0]


def test_ten_readings_make_a_full_study_with_a_stricter_limit():
    few = check_gauge([499_990, 500_010, 500_000], MASTER)
    many = check_gauge([499_989, 500_011] * 5, MASTER)

    assert few.valid
    assert few.cg == pytest.approx(1.33, abs=0.01)
    assert not many.valid
    assert "at least 1.33" in many.why_not[0]


def test_a_gauge_without_any_scatter_is_judged_by_its_bias():
    check = check_gauge([500_010, 500_010], MASTER)

    assert (check.cg, check.cgk) == (None, None)
    assert check.valid


def test_one_reading_has_no_scatter_but_a_bias():
    assert check_gauge([500_000], MASTER).valid
    assert not check_gauge([500_041], MASTER).valid


def test_ten_equal_readings_are_no_study():
    check = check_gauge([MASTER] * 10, MASTER)

    assert not check.valid
    assert "All 10 readings are equal" in check.why_not[0]
    assert check_gauge([MASTER, MASTER + 1] * 5, MASTER).valid


def test_a_study_needs_scatter():
    assert "ten times" in why_no_study(1, None)[0]
    assert why_no_study(2, 0.0)
    assert why_no_study(2, 0.001) == ()


def test_no_readings_are_refused():
    with pytest.raises(Invalid, match="no readings"):
        check_gauge([], MASTER)
    with pytest.raises(Invalid, match="above zero"):
        check_gauge([MASTER], MASTER, 0)


def test_spread_is_pooled_within_the_series():
    # 3 repeats at 0.002 and 2 at 0.004: (2 x 4 + 1 x 16) / 3 = 8
    assert pooled_deviation([(3, 0.002), (2, 0.004), (1, None)]) == pytest.approx(8**0.5 / 1000)
    assert pooled_deviation([(1, None)]) is None


def test_a_study_where_only_the_pieces_differ_blames_the_pieces():
    result = study([[[1.0, 2.0, 3.0]] * 2] * 2)

    assert result.gauge == 0
    assert result.gauge_share_pct == 0
    assert result.total == result.pieces == pytest.approx(2 * 0.5231)


@pytest.mark.parametrize(
    "bad", [[1.0, 2.0], [[[1.0]]], [[[1.0, 1.0]] * 2] * 2, [[[1.0, float("nan")]] * 2] * 2]
)
def test_a_study_without_shape_or_spread_is_refused(bad):
    with pytest.raises(OutsideModel):
        study(bad)
