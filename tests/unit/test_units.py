"""Exact lengths in and out of text."""

import pytest

from crib.errors import Invalid
from crib.units import (
    in_from_tenths_um,
    mm_from_tenths_um,
    tenths_um_from_in,
    tenths_um_from_mm,
)


@pytest.mark.parametrize(
    ("text", "tenths"),
    [("12.3456", 123_456), ("-0.0001", -1), ("+5", 50_000), (".5", 5_000), (" 1. ", 10_000)],
)
def test_millimetres_are_read_exactly(text, tenths):
    assert tenths_um_from_mm(text) == tenths


@pytest.mark.parametrize(
    "text",
    ["", "1,5", "1e3", "NaN", "inf", "0x10", "1_000", "１２", "1.2.3", "--1", "1 2", "mm"],
)
def test_text_that_is_no_length_is_refused(text):
    with pytest.raises(Invalid, match="is not a length"):
        tenths_um_from_mm(text)
    with pytest.raises(Invalid, match="is not a length"):
        tenths_um_from_in(text)


def test_a_length_finer_than_what_is_kept_is_refused_not_rounded():
    with pytest.raises(Invalid, match=r"finer than 0\.1 micrometre"):
        tenths_um_from_mm("12.34567")

    assert tenths_um_from_mm("12.34560") == 123_456


def test_a_slip_of_the_decimal_point_is_refused():
    with pytest.raises(Invalid, match="longer than any tool"):
        tenths_um_from_mm("123456789")


@pytest.mark.parametrize("number", [12.5, 12, None])
def test_a_number_is_no_exact_length(number):
    with pytest.raises(Invalid, match="written as text"):
        tenths_um_from_mm(number)


def test_zero_has_no_sign():
    assert mm_from_tenths_um(0) == "0.0000"
    assert in_from_tenths_um(-1) == "0.00000"
    assert tenths_um_from_mm("-0.0") == 0


def test_inches_are_rounded_half_to_even_once():
    # 12.7 µm = 0.0005 in exactly.
    assert in_from_tenths_um(127) == "0.00050"
    assert in_from_tenths_um(-254_000) == "-1.00000"
    # 1.00005 in = 254012.7 and 0.000125 in = 31.75, each to the nearest.
    assert tenths_um_from_in("1.00005") == 254_013
    assert tenths_um_from_in("0.000125") == 32
    # Exact halves go to the even neighbour: 0.00025 in = 63.5, 0.00075 in = 190.5.
    assert tenths_um_from_in("0.00025") == 64
    assert tenths_um_from_in("0.00075") == 190
