"""The block for the control says what is meant and cannot be made to say more."""

from dataclasses import replace

import pytest

from crib.errors import Invalid
from crib.metrology.block import (
    CAUTION,
    DEFAULT_TEMPLATE,
    BlockFacts,
    check_template,
    plain_words,
    render_block,
)
from crib.metrology.offset import StationGeometry, offsets_to_key_in

FACTS = BlockFacts("L1", "T03", "A00001N", "TURN-R", 3, 13, 2, 4_000)
OFFSETS = offsets_to_key_in({"LF": 801_234, "WF": 123_456}, StationGeometry("+WF", None, "-LF"))


def test_the_default_block_sets_every_figure_of_the_station():
    lines = render_block(FACTS, OFFSETS).splitlines()

    assert lines[-1] == "G10 L1 P13 X+24.6912 Z-80.1234 R0.4000 Q2"
    assert lines[-2] == "G21"
    assert "(FIGURES IN MM, X ON DIAMETER)" in lines
    assert "SINGLE BLOCK, REDUCED RAPID, HAND NEAR FEED HOLD" in lines[0]


def test_an_inch_control_is_told_inches():
    inch = offsets_to_key_in(
        {"WF": 254_000}, StationGeometry("+WF", offset_unit="in", x_on_diameter=False)
    )

    lines = render_block(FACTS, inch).splitlines()

    assert lines[-1] == "G10 L1 P13 X+1.00000 R0.01575 Q2"
    assert lines[-2] == "G20"
    assert "(FIGURES IN INCHES, X ON RADIUS)" in lines


def test_every_figure_has_the_places_of_the_controls_least_step():
    coarse = StationGeometry("+WF", None, "-LF", offset_increment_tenths_um=10)
    offsets = offsets_to_key_in({"LF": 801_234, "WF": 123_456}, coarse)
    facts = replace(FACTS, offset_increment_tenths_um=10)

    lines = render_block(facts, offsets).splitlines()

    assert lines[-1] == "G10 L1 P13 X+24.691 Z-80.123 R0.400 Q2"


def test_what_is_not_known_is_left_out():
    bare = BlockFacts("L1", "T03", "A00001N", "DRILL", 3)
    (z,) = offsets_to_key_in({"LF": 1}, StationGeometry(axis_z="+LF"))

    lines = render_block(bare, [z]).splitlines()

    assert lines[-1] == "G10 L1 P3 Z+0.0001"
    assert "(FIGURES IN MM, NO X)" in lines


def test_the_caution_stands_in_front_of_any_template():
    assert render_block(FACTS, OFFSETS, "G10 L1 P${register} $x_word") == (
        CAUTION + "G10 L1 P13 X+24.6912\n"
    )


def test_a_dollar_sign_can_be_written():
    assert render_block(FACTS, OFFSETS, "(COST 5 $$)").endswith("(COST 5 $)\n")


@pytest.mark.parametrize(
    ("template", "said"),
    [
        ("G10 P$regster", r"line 1: \$regster is not known: take machine"),
        ("OK\nG10 P$", r"line 2: a lone \$"),
        ("(OPEN", "a comment is not closed"),
        ("CLOSE)", "cannot nest"),
        ("(A (B) C)", "cannot nest"),
        ("X$machine", r"\$machine may stand only inside a comment"),
        ("(A) $code", r"\$code may stand only inside a comment"),
        ("(GRÜN)", "not plain ASCII"),
        ("(A\x00)", "not plain ASCII"),
        (" \n ", "empty"),
        ("G" * 4001, "longer than 4000"),
    ],
)
def test_a_template_that_cannot_be_filled_in_is_refused_with_its_line(template, said):
    with pytest.raises(Invalid, match=said):
        check_template(template)


def test_every_fault_of_a_template_is_named_at_once():
    with pytest.raises(Invalid) as caught:
        check_template("P$one\n(OK)\nX$two")

    assert [error["field"] for error in caught.value.errors] == [
        "template line 1",
        "template line 3",
    ]


@pytest.mark.parametrize(
    "hostile",
    [
        "X)\nG0 X0 Z-500 (",
        "$x_word",
        "%\r\nM30",
        "Müller “quoted” 🔧",
        "\u202eGNITUC",
        "",
        "A" * 500,
    ],
)
def test_names_from_the_records_cannot_become_commands(hostile):
    facts = BlockFacts(hostile, hostile, "A00001N", hostile, 3)

    block = render_block(facts, OFFSETS)

    assert block.isascii()
    lines = block.splitlines()
    assert len(lines) == len(CAUTION.splitlines()) + len(DEFAULT_TEMPLATE.splitlines())
    for line in lines[:-2]:
        assert line.startswith("(")
        assert line.endswith(")")
        assert line.count("(") == line.count(")") == 1
    assert lines[-1].startswith("G10 L1 P3 X")


def test_words_keep_what_a_comment_can_hold():
    assert plain_words("Turn OD 0.4 / rough #2") == "TURN OD 0.4 / ROUGH #2"
    assert plain_words("⚙") == "-"


def test_offsets_in_two_units_are_not_mixed():
    inch = offsets_to_key_in({"LF": 1}, StationGeometry(axis_z="+LF", offset_unit="in"))

    with pytest.raises(Invalid, match="one unit"):
        render_block(FACTS, [*OFFSETS, *inch])


def test_words_that_are_cut_end_with_a_word():
    assert plain_words("ABCDE FGH " * 4 + "TAIL") == ("ABCDE FGH " * 4).strip()
