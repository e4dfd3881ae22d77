"""The letters themselves, and what geometry says of the angles that they stand for."""

from __future__ import annotations

import itertools

import pytest

from crib.designation import holder_tables, tables
from crib.designation.holder_tables import BAR_STYLE_DEG, LENGTH_MM, STYLE_DEG
from crib.designation.tolerances import CLASSES


@pytest.mark.parametrize(
    ("table", "letters"),
    [  # ISO 1832, ISO 5608, ISO 6261: from memory
        (tables.SHAPES, "ABCDEHKLMOPRSTVW"),
        (tables.CLEARANCE_DEG, "ABCDEFGNOP"),
        (CLASSES, "ACEFGHJKLMNU"),
        (tables.TYPES, "ABCFGHJMNQRTUWX"),
        (tables.EDGE_CONDITION, "EFKPST"),
        (tables.HAND, "LNR"),
        (tables.WIPER_EDGE_DEG, "ADEFPZ"),
        (tables.WIPER_CLEARANCE_DEG, "ABCDEFGNPZ"),
        (holder_tables.CLAMPING, "CDMPSX"),
        (STYLE_DEG, "ABCDEFGHJKLMNPRSTUVWXY"),
        (BAR_STYLE_DEG, "FJKLPQSUWXY"),
        (holder_tables.HAND, "LNR"),
        (holder_tables.BAR_HAND, "LR"),
        (LENGTH_MM, "ABCDEFGHJKLMNPQRSTUVWXY"),
        (holder_tables.CLOSE_TOLERANCE, "BFQ"),
        (holder_tables.BAR_KIND, "ABCDEFGHJS"),
    ],
)
def test_a_table_has_the_letters_of_its_standard(
    table: dict[str, object], letters: str
) -> None:
    assert "".join(sorted(table)) == letters


def test_a_tool_that_cuts_to_both_sides_halves_what_its_insert_leaves_of_a_half_turn() -> None:
    for style, shape in (("D", "S"), ("E", "T"), ("M", "C"), ("V", "V"), ("N", "D")):
        included = tables.SHAPES[shape].angle_deg
        angle = STYLE_DEG[style]
        assert included is not None
        assert angle is not None
        # N stands in the table as 63, rounded from 62.5.
        assert angle == pytest.approx((180 - included) / 2, abs=0.5 if style == "N" else 0)


def test_what_leans_backwards_is_the_other_side_of_a_neutral_tool() -> None:
    for style, shape in (("H", "V"), ("P", "D")):
        included, angle = tables.SHAPES[shape].angle_deg, STYLE_DEG[style]
        assert included is not None
        assert angle == (180 + included) / 2
    assert BAR_STYLE_DEG["Q"] == STYLE_DEG["H"]


def test_styles_of_the_same_angle_come_in_pairs() -> None:
    for one, other in ("AG", "CF", "BR", "BK", "JU", "DS", "ET", "TW"):
        assert STYLE_DEG[one] == STYLE_DEG[other]
    assert [STYLE_DEG[style] for style in "ABJLWY"] == [90.0, 75.0, 93.0, 95.0, 60.0, 85.0]


def test_lengths_grow_with_their_letters_in_round_steps() -> None:
    lengths = [length for _, length in sorted(LENGTH_MM.items()) if length is not None]

    assert lengths == sorted(set(lengths))
    assert [length for length in lengths if length % 10] == [32.0, 125.0]
    steps = [after - before for before, after in itertools.pairwise(lengths)]
    assert steps == [8, *[10] * 7, 15, 15, *[10] * 4, 20, *[50] * 6]


def test_clearances_are_those_of_the_standard() -> None:
    # ISO 1832, table 2; seen in charts that cite it
    assert [tables.CLEARANCE_DEG[letter] for letter in "NABCPDEFG"] == [
        0.0, 3.0, 5.0, 7.0, 11.0, 15.0, 20.0, 25.0, 30.0,
    ]  # fmt: skip


@pytest.mark.parametrize("letter", tables.TYPES)
def test_a_countersink_on_one_face_is_told_in_words(letter: str) -> None:
    kind = tables.TYPES[letter]

    assert ("countersunk" in kind.words and "on one face" in kind.words) == (kind.sides == 1)
    assert kind.sides in ((1, 2) if kind.hole == "countersunk" else (0,))
