"""The tables against the geometry that ties them."""

from __future__ import annotations

import math

import pytest

from crib.designation import sizes, tables
from crib.designation.sizes import CIRCLE_MM, NOT_CUT_OFF, edge_length_mm
from crib.designation.tolerances import BY_CIRCLE, CLASSES, SHARPER_M, limits

NUMBERED = [
    (shape, size, circle_mm)
    for shape, numbers in CIRCLE_MM.items()
    for size, circle_mm in numbers.items()
    if circle_mm is not None
]
#: Inscribed circles of the series [mm]: multiples of 1/32 in, rounded as the standard does.
SERIES = [3.97, 4.76, 5.56, 6.35, 7.94, 9.525, 12.7, 15.875, 19.05, 25.4, 31.75]


def circumscribed_edge_mm(corners_deg: list[float], circle_mm: float) -> float:
    """Longest edge of an equal-sided polygon about a circle, from its tangents."""
    tangents = [circle_mm / 2 / math.tan(math.radians(angle / 2)) for angle in corners_deg]
    return max(map(sum, zip(tangents, [*tangents[1:], tangents[0]], strict=True)))


@pytest.mark.parametrize(("shape", "size", "circle_mm"), NUMBERED)
def test_a_size_number_is_its_edge_in_whole_millimetres_or_a_named_exception(
    shape: str, size: str, circle_mm: float
) -> None:
    length = edge_length_mm(shape, circle_mm)
    assert length is not None
    # To within a hundredth: T 11, 22 and 33 stand for 10.998, 21.997 and 32.996 mm.
    whole = f"{math.floor(length + 0.01):02d}"

    assert (size == whole) != ((shape, size) in NOT_CUT_OFF), (length, whole)


@pytest.mark.parametrize("shape", [*CIRCLE_MM, "R"])
@pytest.mark.parametrize("circle_mm", SERIES)
def test_an_edge_is_that_of_the_polygon_about_its_circle(shape: str, circle_mm: float) -> None:
    angle = tables.SHAPES[shape].angle_deg
    length = edge_length_mm(shape, circle_mm)

    if angle is None:
        assert length == circle_mm
        return
    corners = {
        "rhombic": [angle, 180 - angle] * 2,
        # A trigon has corners of 80 degrees and blunt ones of 160 between them.
        "trigon": [angle, 160.0] * 3,
    }.get(tables.SHAPES[shape].words, [angle] * round(360 / (180 - angle)))
    assert length == pytest.approx(circumscribed_edge_mm(corners, circle_mm), abs=1e-9)
    assert sum(corners) == pytest.approx(180 * (len(corners) - 2))


def test_parallelograms_and_rectangles_tell_no_circle_and_no_edge() -> None:
    assert all(edge_length_mm(shape, 9.525) is None for shape in "ABKL")
    assert all(sizes.circle_mm(shape, "16", "04") is None for shape in "ABKL")


def test_a_number_without_a_circle_is_shared_by_two_of_the_series() -> None:
    left_open = [
        (shape, size)
        for shape, numbers in CIRCLE_MM.items()
        for size, circle_mm in numbers.items()
        if circle_mm is None
    ]

    for shape, size in left_open:
        sharing = [
            circle_mm
            for circle_mm in SERIES
            if math.floor((edge_length_mm(shape, circle_mm) or 0) + 0.01) == int(size)
        ]
        assert len(sharing) > 1, (shape, size)
    assert left_open


def test_thickness_numbers_are_whole_millimetres() -> None:
    for number, thickness_mm in sizes.THICKNESS_MM.items():
        if number != "T0":  # 1.79 mm, from memory: 01 and T1 were taken
            assert int(number.removeprefix("T")) == int(thickness_mm), number
    assert sorted(sizes.THICKNESS_MM.values()) == list(sizes.THICKNESS_MM.values())


def test_inch_numbers_count_eighths_sixteenths_and_sixty_fourths() -> None:
    for number, circle_mm in sizes.INCH_CIRCLE_MM.items():
        assert circle_mm / 25.4 * 8 == pytest.approx(float(number), abs=0.051)
    for number, thickness_mm in sizes.INCH_THICKNESS_MM.items():
        assert thickness_mm / 25.4 * 16 == pytest.approx(float(number), abs=0.051)
    for number, corner in sizes.INCH_CORNER.items():
        assert int(corner) / 10 / 25.4 * 64 == pytest.approx(float(number), abs=0.07)
    assert set(sizes.INCH_CIRCLE_MM.values()) == set(SERIES)


def test_round_inserts_from_inches_have_circles_of_the_series() -> None:
    assert list(sizes.ROUND_INCH_MM.values()) == SERIES
    assert all(int(size) == int(d) for size, d in sizes.ROUND_INCH_MM.items())
    assert all(int(size) == d for size, d in sizes.ROUND_METRIC_MM.items())


def test_exact_limits_lie_within_their_class_and_grow_with_the_circle() -> None:
    for rows in (
        [row.d for row in BY_CIRCLE],
        [row.m for row in BY_CIRCLE],
        [row.d_class_u for row in BY_CIRCLE],
        [row.m_class_u for row in BY_CIRCLE],
        *(list(row.values()) for row in SHARPER_M.values()),
    ):
        assert rows == sorted(rows)
    for name, of_class in CLASSES.items():
        for shape, _, circle_mm in NUMBERED:
            found = limits(name, shape, circle_mm)
            for whole, part in zip(of_class, found, strict=True):
                assert whole is not None
                assert part is not None
                assert whole.least_mm <= part.least_mm <= part.greatest_mm <= whole.greatest_mm


def test_the_ends_of_a_class_are_reached() -> None:
    for name, field in (("M", "d"), ("M", "m"), ("U", "d"), ("U", "m")):
        found = [getattr(limits(name, "S", circle_mm), field).least_mm for circle_mm in SERIES]
        of_class = getattr(CLASSES[name], field)
        assert (min(found), max(found)) == (of_class.least_mm, of_class.greatest_mm)


def test_a_sharper_corner_is_allowed_more_at_the_corner() -> None:
    at_corner = [limits("M", shape, 9.525).m for shape in "CDV"]

    assert [range_ and range_.least_mm for range_ in at_corner] == [0.08, 0.11, 0.16]


def test_limits_stay_a_range_where_no_row_decides_them() -> None:
    assert limits("M", "K", None) == CLASSES["M"]
    assert limits("U", "D", 9.525) == CLASSES["U"]
    assert limits("M", "R", 12.0).m is None
