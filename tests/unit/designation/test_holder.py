"""Holders and bars: what their letters come to."""

from __future__ import annotations

import pytest

from crib.designation import holder_tables
from crib.designation.explain import explain_holder
from crib.designation.holder import BoringBar, TurningHolder
from crib.designation.reading import read_any_holder
from crib.errors import BadDesignation


def test_a_holder_has_the_measures_of_its_letters() -> None:
    holder = read_any_holder("sdjcl 1010 h07")  # ISO 5608, from memory

    assert str(holder) == "SDJCL1010H07"
    assert (holder.shank_height_mm, holder.shank_width_mm) == (10.0, 10.0)
    assert (holder.length_mm, holder.edge_angle_deg) == (100.0, 93.0)
    assert (holder.pocket.hand, holder.pocket.size) == ("L", "07")


def test_a_bar_has_the_measures_of_its_letters() -> None:
    bar = read_any_holder("S10H-SDUCL07")  # ISO 6261, from memory

    assert str(bar) == "S10H-SDUCL07"
    assert (bar.shank_diameter_mm, bar.length_mm, bar.edge_angle_deg) == (10.0, 100.0, 93.0)
    assert bar.pocket.letters == "SDUCL"


def test_either_kind_is_told_by_its_text() -> None:
    assert isinstance(read_any_holder("A16M-SCLCR09"), BoringBar)
    assert isinstance(read_any_holder("SCLCR1212F09"), TurningHolder)


@pytest.mark.parametrize(
    ("text", "position", "nearest"),
    [
        ("A16M-SCLXR09", 7, "A16M-SCLCR09"),
        ("A16MSCLCR09", 4, "A16M-SCLCR09"),
        ("A17M-SCLCR09", 2, None),
        ("A16I-SCLCR09", 3, None),
        ("SCLCR1212Z09", 8, "SCLCR1212F09"),
        ("SCLCR1313F09", 6, None),
        ("SXLCR1212F09", 2, "SCLCR1212F09"),
        ("SCLCR1212F10", 9, None),
        ("A16M-SCLCN09", 8, None),
    ],
)
def test_a_wrong_position_is_told_by_the_standard_that_reads_further(
    text: str, position: int, nearest: str | None
) -> None:
    with pytest.raises(BadDesignation) as refused:
        read_any_holder(text)

    assert refused.value.facts["position"] == position
    if nearest:
        assert refused.value.facts["nearest"] == nearest
    read_any_holder(str(refused.value.facts["nearest"]))


def test_what_a_special_letter_leaves_open_is_none() -> None:
    holder = read_any_holder("XCXNR2525X12-A1")

    assert (holder.edge_angle_deg, holder.length_mm) == (None, None)
    told = explain_holder(holder)
    assert [one.position for one in told] == [1, 2, 3, 4, 5, 6, 7, 8, 9, 11]
    assert told[2].value is None
    assert "maker" in told[7].meaning


def test_a_dash_for_the_length_and_close_faces_are_read() -> None:
    holder = read_any_holder("PCLNR2020-12Q")

    assert (holder.length, holder.length_mm, holder.faces) == ("-", None, "Q")
    assert str(holder) == "PCLNR2020-12Q"
    assert "ISO 5610" in explain_holder(holder)[7].meaning


def test_every_style_has_words_for_how_its_edge_lies() -> None:
    styles = {*holder_tables.STYLE_DEG, *holder_tables.BAR_STYLE_DEG}

    assert styles == set(holder_tables.STYLE_WORDS)
    for style in styles & set(holder_tables.STYLE_DEG) & set(holder_tables.BAR_STYLE_DEG):
        assert holder_tables.STYLE_DEG[style] == holder_tables.BAR_STYLE_DEG[style]
    assert all(
        "side cutting" in holder_tables.STYLE_WORDS[style]
        for style in holder_tables.SAME_HAND_STYLES
    )


def test_bars_tell_every_position() -> None:
    told = explain_holder(read_any_holder("E12Q-SCLCL06-X"))

    assert [one.position for one in told] == list(range(1, 11))
    assert "".join(one.text for one in told) == "E12QSCLCL06X"
    assert told[8].value == 6.35
