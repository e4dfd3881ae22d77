"""What is offered for a text that cannot be read."""

from __future__ import annotations

import pytest

from crib.designation.reading import read_any_holder, read_insert
from crib.errors import BadDesignation


def nearest(text: str) -> object:
    with pytest.raises(BadDesignation) as refused:
        read_insert(text)
    found = refused.value.facts["nearest"]
    assert found is None or str(read_insert(str(found))) == found
    return found


@pytest.mark.parametrize(
    ("text", "offered"),
    [
        ("CCMT9T304", "CCMT09T304"),  # a character left out
        ("CCMT099T304", "CCMT09T304"),  # one too many
        ("CCTM09T304", "CCMT09T304"),  # two changed over
        ("CCMT09X304", "CCMT09T304"),
        ("CNMG12O408", "CNMG120408"),  # the letter for the digit
        ("CNMG12O4O8", "CNMG120408"),
        ("CNMG1Z0408", "CNMG120408"),
        ("CXMG120408", "CNMG120408"),  # a usual clearance for the type
        ("CXMT09T304", "CCMT09T304"),
        ("TNMG1604", "TNMG160404"),  # ended with a usual corner
        ("CCMT09T30", "CCMT09T304"),
        ("CNMG120408 M5", "CNMG120408-M5"),  # the dash left out
        ("CNMG120408?", "CNMG120408"),
        ("RNMG4", "RNMG43"),
    ],
)
def test_the_nearest_usual_reading_is_offered(text: str, offered: str) -> None:
    assert nearest(text) == offered


@pytest.mark.parametrize(
    "text",
    ["CCMT09T304.2", "CCMT3(25)1", "CNMG1204408", "DCMT11T3O2X", "CNMG4329"],
)
def test_no_other_radius_is_offered_than_was_written(text: str) -> None:
    with pytest.raises(BadDesignation) as refused:
        read_insert(text)

    found = refused.value.facts["nearest"]
    if found is not None:
        offered = read_insert(str(found))
        assert str(found)[slice(*offered.corner_span())].replace("0", "O") in text.replace(
            "0", "O"
        )


@pytest.mark.parametrize("text", ["", "X", "hello world", "parting 1.5 P", "CNMG" * 11])
def test_nothing_is_offered_that_has_little_to_do_with_the_text(text: str) -> None:
    assert nearest(text) is None


def test_a_text_too_long_for_a_misprint_is_refused_without_a_search() -> None:
    with pytest.raises(BadDesignation) as refused:
        read_any_holder("SCLCR1212F09-" + "A" * 28)

    assert refused.value.facts["nearest"] is None
    assert len(refused.value.sentence) < 300


def test_the_sentence_says_where_what_and_what_instead() -> None:
    with pytest.raises(BadDesignation) as refused:
        read_insert("ccmt 09 x3 04")

    sentence = refused.value.sentence
    assert sentence.startswith("'CCMT09X304' is not a designation of an insert (ISO 1832)")
    assert "position 6 (character 7) should be the thickness, one of 01, " in sentence
    assert sentence.endswith("'X3' stands there. Perhaps CCMT09T304?")


def test_brackets_set_off_a_number_with_a_point_in_the_inch_form() -> None:
    # usual inch spelling, from memory: 3/8 in circle, 2.5/16 in thick, 1/64 in corner
    insert = read_insert("CCMT 3(2.5)1")

    assert insert == read_insert("CCMT32.51")
    assert (insert.circle_mm, insert.thickness_mm, insert.corner_radius_mm) == (
        9.525,
        3.97,
        0.4,
    )
    assert insert.metric() == read_insert("CCMT09T304")
