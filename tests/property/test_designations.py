"""Whatever is typed is read and printed back, or refused with a position."""

from __future__ import annotations

import string
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.designation import holder_tables, sizes, tables
from crib.designation.explain import explain_holder, explain_insert, explain_material
from crib.designation.holder import BoringBar, TurningHolder
from crib.designation.insert import Insert
from crib.designation.material import CUTTING_MATERIALS, GROUPS
from crib.designation.pockets import pocket_misfits
from crib.designation.reading import (
    holder_or_none,
    insert_or_none,
    read_any_holder,
    read_insert,
    read_material,
)
from crib.designation.tolerances import CLASSES
from crib.errors import BadDesignation

_maker = st.text("ABCDEFGHKLMNPRSTUVW0123456789", max_size=6).map(
    lambda letters: f"-{letters}" if letters else ""
)
_chamfer = st.text("0123456789", min_size=5, max_size=5)


@st.composite
def insert_texts(draw: st.DrawFn) -> str:
    """Any designation that the tables allow, metric or in inches."""
    shape = draw(st.sampled_from(sorted(tables.SHAPES)))
    letters = shape + "".join(
        draw(st.sampled_from(sorted(table)))
        for table in (tables.CLEARANCE_DEG, CLASSES, tables.TYPES)
    )
    wiper = draw(st.sampled_from("ADEFPZ")) + draw(st.sampled_from("ABCDEFGNPZ"))
    if shape not in sizes.LONG_SHAPES and draw(st.booleans()):
        size = draw(st.sampled_from(sorted(sizes.INCH_CIRCLE_MM)))
        thickness = draw(st.sampled_from(sorted(sizes.INCH_THICKNESS_MM)))
        radii = [
            number
            for number, corner in sizes.INCH_CORNER.items()
            if int(corner) <= sizes.INCH_CIRCLE_MM[size] * 5
        ]
        corners = ["", "0"] if shape == "R" else [*radii, wiper]
    else:
        size = draw(st.sampled_from(sizes.sizes_of(shape)))
        thickness = draw(st.sampled_from(sorted(sizes.THICKNESS_MM)))
        if shape == "R":
            corners = ["00", *(["M0"] if size in sizes.ROUND_METRIC_MM else [])]
        else:
            circle_mm = sizes.circle_mm(shape, size, "")
            largest = 99 if circle_mm is None else int(circle_mm * 5)
            corners = [f"{draw(st.integers(0, largest)):02d}", wiper]
    condition = draw(st.sampled_from(["", *tables.EDGE_CONDITION]))
    if condition and condition in "TS" and draw(st.booleans()):
        condition += draw(_chamfer)
    hand = draw(st.sampled_from(["", *tables.HAND]))
    numbers = size + thickness + draw(st.sampled_from(corners))
    return letters + numbers + condition + hand + draw(_maker)


def _letters(draw: st.DrawFn, styles: Any, hands: Any) -> str:
    options = (holder_tables.CLAMPING, tables.SHAPES, styles, tables.CLEARANCE_DEG, hands)
    return "".join(draw(st.sampled_from(sorted(table))) for table in options)


@st.composite
def holder_texts(draw: st.DrawFn) -> str:
    """Any square-shank holder that the tables allow."""
    letters = _letters(draw, holder_tables.STYLE_DEG, holder_tables.HAND)
    sides = st.sampled_from(sorted(holder_tables.SHANK_MM))
    length = draw(st.sampled_from([*holder_tables.LENGTH_MM, "-"]))
    size = draw(st.sampled_from(sizes.sizes_of(letters[1])))
    faces = draw(st.sampled_from(["", *holder_tables.CLOSE_TOLERANCE]))
    return letters + draw(sides) + draw(sides) + length + size + faces + draw(_maker)


@st.composite
def bar_texts(draw: st.DrawFn) -> str:
    """Any boring bar that the tables allow."""
    letters = _letters(draw, holder_tables.BAR_STYLE_DEG, holder_tables.BAR_HAND)
    shank = "".join(
        draw(st.sampled_from(sorted(table)))
        for table in (
            holder_tables.BAR_KIND,
            holder_tables.BAR_DIAMETER_MM,
            holder_tables.LENGTH_MM,
        )
    )
    size = draw(st.sampled_from(sizes.sizes_of(letters[1])))
    return f"{shank}-{letters}{size}{draw(_maker)}"


@st.composite
def material_texts(draw: st.DrawFn) -> str:
    """Any material group or application that the tables allow."""
    group = draw(st.sampled_from(sorted(GROUPS)))
    number = draw(st.sampled_from(["", *GROUPS[group].numbers]))
    cutting = draw(st.sampled_from(["", *(f"{name}-" for name in CUTTING_MATERIALS)]))
    return cutting + group + number


KINDS: dict[str, tuple[Callable[[str], Any], st.SearchStrategy[str]]] = {
    "insert": (read_insert, insert_texts()),
    "holder": (read_any_holder, holder_texts()),
    "bar": (read_any_holder, bar_texts()),
    "material": (read_material, material_texts()),
}


def _explained(reading: Any) -> str:
    if isinstance(reading, Insert):
        told = explain_insert(reading)
    elif isinstance(reading, TurningHolder | BoringBar):
        told = explain_holder(reading)
    else:
        told = explain_material(reading)
    numbers = [one.position for one in told]
    assert numbers == sorted(set(numbers))
    assert all(one.meaning and "None" not in one.meaning for one in told)
    return "".join(one.text for one in told)


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_what_the_tables_allow_is_read_explained_and_printed_back(
    kind: str, data: st.DataObject
) -> None:
    read, texts = KINDS[kind]
    text = data.draw(texts)

    reading = read(text)

    assert str(reading) == text
    # The dashes between a bar and its head, and before the maker's letters, are no positions.
    assert _explained(reading).replace("-", "") == text.replace("-", "")


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_one_wrong_character_reads_as_something_else_or_is_told_by_position(
    kind: str, data: st.DataObject
) -> None:
    read, texts = KINDS[kind]
    text = data.draw(texts)
    index = data.draw(st.integers(0, len(text) - 1))
    other = data.draw(st.sampled_from(string.ascii_uppercase + string.digits + "-.?"))
    wrong = text[:index] + other + text[index + 1 :]

    try:
        reading = read(wrong)
    except BadDesignation as refused:
        facts = refused.facts
        assert 1 <= facts["position"] <= 11  # type: ignore[operator]
        assert 1 <= facts["character"] <= len(wrong) + 1  # type: ignore[operator]
        assert facts["expected"]
        assert facts["nearest"] is None or str(read(str(facts["nearest"]))) == facts["nearest"]
        # One change away from a designation there always is one, if the text is short enough;
        # of an insert's corner none is named: another radius would be another insert.
        corner = kind == "insert" and facts["position"] >= 7
        assert facts["nearest"] or corner or len(wrong) > 40 or len(wrong) < 6
    else:
        assert str(reading) == wrong


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_any_text_whatever_is_read_back_or_refused(kind: str, data: st.DataObject) -> None:
    read, texts = KINDS[kind]
    start = data.draw(texts | st.just(""))
    text = start[: data.draw(st.integers(0, len(start)))] + data.draw(st.text(max_size=60))

    try:
        reading = read(text)
    except BadDesignation as refused:
        facts = refused.facts
        assert 1 <= facts["position"] <= 11  # type: ignore[operator]
    else:
        assert str(read(str(reading))) == str(reading)
        _explained(reading)


@given(insert_texts())
def test_an_insert_has_edges_only_where_its_letters_tell_them(text: str) -> None:
    insert = read_insert(text)

    assert (insert.edges is None) == (
        insert.type == "X"
        or insert.shape == "R"
        or (insert.shape == "L" and not insert.hand)
        or insert.faces is None
    )
    assert insert.edges is None or 2 <= insert.edges <= 16
    assert insert.faces != 2 or insert.clearance == "N"
    radius, circle = insert.corner_radius_mm, insert.circle_mm
    assert radius is None or circle is None or radius <= circle / 2


@given(insert_texts())
def test_the_other_form_of_an_insert_is_the_same_insert(text: str) -> None:
    insert = read_insert(text)

    for other in (insert.metric(), insert.inches()):
        if other is None:
            continue
        assert read_insert(str(other)) == other
        assert (other.circle_mm, other.thickness_mm) == (insert.circle_mm, insert.thickness_mm)
        assert (other.corner_radius_mm, other.edges) == (insert.corner_radius_mm, insert.edges)
        assert other.limits == insert.limits


@given(insert_texts(), holder_texts() | bar_texts())
def test_an_insert_of_another_shape_or_clearance_never_fits(
    insert_text: str, holder_text: str
) -> None:
    insert, holder = insert_or_none(insert_text), holder_or_none(holder_text)
    assert insert is not None
    assert holder is not None
    assert read_any_holder(holder_text) == holder

    reasons = pocket_misfits(holder, insert)

    pocket = holder.pocket
    alike = (insert.shape, insert.clearance) == (pocket.shape, pocket.clearance)
    assert alike or reasons
    assert all(reason.startswith("it") for reason in reasons)
