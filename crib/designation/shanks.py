"""How far a shank may be off its nominal size: standard tolerances of ISO 286.

The grades were chosen for shanks by the holder standards: height and width of a square shank
h13 (ISO 5610), diameter of a bar g7 (ISO 5609), both from memory. A shank that lies within
them goes into a seat made for its nominal size.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from crib.errors import OutsideModel
from crib.sentence import figure, sentence


class Deviations(NamedTuple):
    """Lower and upper limit deviation [µm] from the nominal size."""

    lower_um: int
    upper_um: int


#: ISO 286-1, table 1, nominal sizes over 0 up to 80 mm (from memory): upper ends [mm].
SIZES_UP_TO_MM: Final = (3.0, 6.0, 10.0, 18.0, 30.0, 50.0, 80.0)
#: Standard tolerance [µm] by grade, one per size range.
GRADE_UM: Final[dict[int, tuple[int, ...]]] = {
    5: (4, 5, 6, 8, 9, 11, 13),
    6: (6, 8, 9, 11, 13, 16, 19),
    7: (10, 12, 15, 18, 21, 25, 30),
    8: (14, 18, 22, 27, 33, 39, 46),
    9: (25, 30, 36, 43, 52, 62, 74),
    10: (40, 48, 58, 70, 84, 100, 120),
    11: (60, 75, 90, 110, 130, 160, 190),
    12: (100, 120, 150, 180, 210, 250, 300),
    13: (140, 180, 220, 270, 330, 390, 460),
}
#: ISO 286-1, table 4: fundamental deviation of shafts g [µm] (from memory).
_G_UM: Final = (-2, -4, -5, -6, -7, -9, -10)


def standard_tolerance_um(grade: int, size_mm: float) -> int:
    """Standard tolerance IT of a grade at a nominal size (ISO 286-1, table 1) [µm].

    Raises:
        OutsideModel: A grade or size that the table here does not hold.
    """
    if grade not in GRADE_UM:
        held = sentence(
            "{grade_um} to {grade_um2}", grade_um=min(GRADE_UM), grade_um2=max(GRADE_UM)
        )
        raise OutsideModel(
            sentence(
                "Grade IT{grade} is not in the table, which holds IT{held}.",
                grade=grade,
                held=held,
            )
        )
    return GRADE_UM[grade][_range(size_mm)]


def square_shank(side_mm: float) -> Deviations:
    """Limits on height or width of a square shank, h13.

    Raises:
        OutsideModel: A size beyond the table.
    """
    return Deviations(-standard_tolerance_um(13, side_mm), 0)


def bar_shank(diameter_mm: float) -> Deviations:
    """Limits on the diameter of a bar, g7.

    Raises:
        OutsideModel: A size beyond the table.
    """
    upper = _G_UM[_range(diameter_mm)]
    return Deviations(upper - standard_tolerance_um(7, diameter_mm), upper)


def _range(size_mm: float) -> int:
    for index, up_to_mm in enumerate(SIZES_UP_TO_MM):
        if 0 < size_mm <= up_to_mm:
            return index
    raise OutsideModel(
        sentence(
            "A size of {size_mm} mm is not in the table, which holds sizes over 0 up to "
            "{sizes_up_to_mm} mm.",
            size_mm=figure(size_mm, "g"),
            sizes_up_to_mm=figure(SIZES_UP_TO_MM[-1], "g"),
        )
    )
