"""Letters on the box: read, printed back, refused by position."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.designation import tables
from crib.designation.reading import edge_length_mm, misfits, read_holder, read_insert
from crib.errors import BadDesignation

#: Size number one below the whole millimetres of the edge: so in the standard's table
#: (from memory), beside C with an inscribed circle of 5/32 inch, 4.03 mm.
ROUNDED_DOWN = {("C", "03")}


@pytest.mark.parametrize(
    ("text", "circle_mm", "thickness_mm", "radius_mm", "edges"),
    [  # ISO 1832 tables, from memory; circles and thicknesses seen in charts citing it
        ("CCMT060204", 6.35, 2.38, 0.4, 2),
        ("DCGT070202", 6.35, 2.38, 0.2, 2),
        ("DCMT11T308", 9.525, 3.97, 0.8, 2),
        ("TNMG160408", 9.525, 4.76, 0.8, 6),
        ("CNMG120408", 12.7, 4.76, 0.8, 4),
        ("SNMG120412", 12.7, 4.76, 1.2, 8),
        ("VBMT160408", 9.525, 4.76, 0.8, 2),
    ],
)
def test_an_insert_has_the_geometry_of_the_standard(
    text: str, circle_mm: float, thickness_mm: float, radius_mm: float, edges: int
) -> None:
    insert = read_insert(text)
    assert insert.circle_mm == circle_mm
    assert tables.THICKNESS_MM[insert.thickness] == thickness_mm
    assert tables.RADIUS_MM[insert.radius] == radius_mm
    assert insert.edges == edges


def test_class_m_goes_by_the_inscribed_circle() -> None:
    # ISO 1832, class M: seen in charts that cite it
    assert read_insert("CNMG120408").limits_mm() == ((0.08, 0.08), (0.13, 0.13), (0.13, 0.13))
    assert read_insert("CCMT060204").limits_mm() == ((0.05, 0.05), (0.08, 0.08), (0.13, 0.13))


def test_size_numbers_are_the_edge_length_without_decimals() -> None:
    for shape, sizes in tables.CIRCLE_MM.items():
        for size, circle_mm in sizes.items():
            if not size.isdigit() or (shape, size) in ROUNDED_DOWN:
                continue
            length_mm = round(edge_length_mm(shape, circle_mm), 2)  # T 11 is 10.9985 mm
            assert int(length_mm) == int(size), (shape, size)


def test_a_holder_reads_and_takes_only_its_inserts() -> None:
    holder = read_holder("SCLCR1212F09")  # ISO 5608, from memory
    assert (tables.STYLE_DEG[holder.style], tables.LENGTH_MM[holder.length]) == (95.0, 80.0)
    assert str(holder) == "SCLCR1212F09"
    assert misfits(holder, read_insert("CCMT09T304")) == []
    assert len(misfits(holder, read_insert("DNMG150408"))) == 3


@pytest.mark.parametrize(("text", "position"), [("CXMT09T304", 2), ("CCMT99T304", 5), ("", 1)])
def test_a_wrong_letter_is_told_by_position(text: str, position: int) -> None:
    with pytest.raises(BadDesignation) as refused:
        read_insert(text)
    assert refused.value.facts["position"] == position


@given(st.text(alphabet="CDNMGTSLRJ01249-EF", max_size=16) | st.text(max_size=16))
def test_any_text_is_read_back_or_refused(text: str) -> None:
    for read in (read_insert, read_holder):
        try:
            back = str(read(text))
        except BadDesignation:
            continue
        assert back == text
