"""Inserts: what their letters come to, in both forms."""

from __future__ import annotations

import itertools

import pytest

from crib.designation import sizes, tables
from crib.designation.explain import explain_insert
from crib.designation.insert import _inch_numbers, parse_insert
from crib.designation.reading import read_insert
from crib.errors import BadDesignation


@pytest.mark.parametrize(
    ("text", "edges"),
    [  # corners times faces: common practice, no source
        ("CCMT09T304", 2), ("CNMG120408", 4), ("CNMM120408", 2), ("CNMA120408", 4),
        ("CNMW120404", 2), ("DNMX150608", None), ("TNMG160408", 6), ("TPGN110302", 3),
        ("TNUN160408", 6), ("TNMF160408", 6), ("TPMR160308", 3), ("SNMG120412", 8),
        ("SNMR120408", 4), ("SCMT09T308", 4), ("WNMG080408", 6), ("WCMT040204", 3),
        ("VBMT160408", 2), ("VNMG160404", 4), ("RCMT1204M0", None), ("RNMG120400", None),
        ("HNGF090508", 12), ("OFMT050405", 8), ("PNMU110508", 10), ("SOMT09T308", 4),
        ("SOMQ09T308", None), ("DNMU150608", 4), ("CNMQ120408", 4), ("CNMB120408", 2),
        ("KNUX160405R", None), ("LNMA191106", None), ("LNMA191106N", 8), ("LNMA191106R", 4),
        ("KNMA160405", 4), ("ENMG130408", 4), ("MNMG120408", 4), ("BPGN120304", 2),
    ],
)  # fmt: skip
def test_edges_are_corners_times_the_faces_that_cut(text: str, edges: int | None) -> None:
    assert read_insert(text).edges == edges


def test_only_a_type_alike_on_both_faces_is_turned_over() -> None:
    both = {letter for letter, kind in tables.TYPES.items() if kind.faces == 2}

    assert both == set("ACFGJNQU")
    assert {letter for letter, kind in tables.TYPES.items() if kind.faces is None} == {"X"}


@pytest.mark.parametrize(
    ("inch", "metric"),
    [  # pairs in common use, from memory
        ("CNMG432", "CNMG120408"), ("CNMG431", "CNMG120404"), ("CNMG543", "CNMG160612"),
        ("CCMT21.51", "CCMT060204"), ("CCMT32.52", "CCMT09T308"), ("CCGT21.50.5", "CCGT060202"),
        ("DNMG442", "DNMG150608"), ("DCMT32.51", "DCMT11T304"), ("TNMG332", "TNMG160408"),
        ("TPGN221", "TPGN110304"), ("VNMG331", "VNMG160404"), ("VCMT2.521", "VCMT130304"),
        ("WNMG432", "WNMG080408"), ("SNMG643", "SNMG190612"), ("RNMG43", "RNMG120400"),
        ("SEKN42AFTN", "SEKN1203AFTN"), ("CNMG644-R", "CNMG190616-R"),
        ("SNMG866", "SNMG250924"),
    ],
)  # fmt: skip
def test_the_inch_form_is_the_same_insert(inch: str, metric: str) -> None:
    one, other = read_insert(inch), read_insert(metric)

    assert str(one) == inch
    assert str(one.metric()) == metric
    assert str(other.inches()) == inch
    for name in ("circle_mm", "thickness_mm", "corner_radius_mm", "edges", "limits"):
        assert getattr(one, name) == getattr(other, name), name


def test_an_insert_outside_the_inch_series_has_no_inch_form() -> None:
    assert read_insert("RCMT1204M0").inches() is None
    assert read_insert("CCMT09T303").inches() is None
    assert read_insert("HNMG2.521").metric() is not None
    assert read_insert("HNMG221").metric() is None  # number 03 is shared by two circles


def test_no_text_reads_as_inches_in_two_ways_or_as_metric_too() -> None:
    corners = [*sizes.INCH_CORNER, "AF", "PD", "EC"]
    for shape in ("C", "R"):
        numbers = itertools.product(
            sizes.INCH_CIRCLE_MM,
            sizes.INCH_THICKNESS_MM,
            corners if shape == "C" else ["", "0"],
        )
        for parts in numbers:
            text = "".join(parts)
            found = list(_inch_numbers(text, shape))
            assert found in ([parts], []), text
            if found:
                assert parse_insert(f"{shape}NMG{text}").inch


@pytest.mark.parametrize(
    ("text", "diameter_mm"),
    [
        ("RCMT1204M0", 12.0), ("RNMG120400", 12.7), ("RCGT0602M0", 6.0), ("RNMG090300", 9.525),
        ("RCMX100300", 10.0), ("RCMX200600", 20.0), ("RNMG43", 12.7),
    ],
)  # fmt: skip
def test_the_corner_of_a_round_insert_tells_where_its_diameter_comes_from(
    text: str, diameter_mm: float
) -> None:
    insert = read_insert(text)

    assert insert.circle_mm == insert.edge_length_mm == diameter_mm
    assert (insert.included_angle_deg, insert.corner_radius_mm) == (None, None)


@pytest.mark.parametrize("text", ["RCMT09T3M0", "RCMT120408", "CCMT09T3M0", "RNMG1204AF"])
def test_a_corner_that_its_shape_cannot_have_is_refused(text: str) -> None:
    with pytest.raises(BadDesignation) as refused:
        read_insert(text)
    assert refused.value.facts["position"] == 7


def test_a_corner_larger_than_the_insert_is_refused() -> None:
    assert read_insert("CCMT060231").corner_radius_mm == 3.1
    with pytest.raises(BadDesignation, match="00 to 31") as refused:
        read_insert("CCMT060232")
    assert refused.value.facts["character"] == 9
    with pytest.raises(BadDesignation):
        read_insert("CCMT1.21.28")


def test_blanks_small_letters_and_typeset_dashes_do_not_matter() -> None:
    assert read_insert(" ccmt 09 t3 04 f r – pf2 ") == read_insert("CCMT09T304FR-PF2")


def test_every_position_is_told_with_its_value() -> None:
    told = explain_insert(read_insert("SEKN1203AFT01020N-W"))

    assert [one.position for one in told] == [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]
    assert [one.text for one in told] == [
        "S", "E", "K", "N", "12", "03", "AF", "T01020", "N", "W",
    ]  # fmt: skip
    assert [one.value for one in told[:2]] == [90.0, 20.0]
    assert "0.10 mm wide at 20°" in told[7].meaning
    assert "45°" in told[6].meaning
    assert "25°" in told[6].meaning


def test_what_the_letters_leave_open_is_said_to_be_open() -> None:
    told = explain_insert(read_insert("HOMX030308"))

    assert [one.value for one in told[1:5]] == [None, "M", told[3].meaning[6:], None]
    assert "maker" in told[1].meaning
    assert "share this number" in told[4].meaning


def test_a_doubtful_size_is_said_to_be_doubtful() -> None:
    assert "measure" in explain_insert(read_insert("CCGT030102"))[4].meaning
    assert "measure" in explain_insert(read_insert("RNMG120400"))[4].meaning


@pytest.mark.parametrize("letter", tables.TYPES)
def test_words_and_numbers_of_a_type_agree(letter: str) -> None:
    kind = tables.TYPES[letter]
    if kind.hole is None:
        return
    assert ("no hole" in kind.words) == (kind.hole == "none")
    assert ("countersunk" in kind.words) == (kind.hole == "countersunk")
    assert ("no chip breaker" in kind.words) == (kind.breakers == 0)
    assert ("breakers on both" in kind.words) == (kind.breakers == 2)
