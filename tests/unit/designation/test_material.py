"""Material groups: read, printed back, refused."""

from __future__ import annotations

import pytest

from crib.designation.explain import explain_material
from crib.designation.material import CUTTING_MATERIALS, GROUPS
from crib.designation.reading import read_material
from crib.errors import BadDesignation


@pytest.mark.parametrize(
    "text", ["P", "M", "K", "N", "S", "H", "P20", "H01", "HC-P20", "CC-K10"]
)
def test_a_group_reads_and_prints_back(text: str) -> None:
    assert str(read_material(text.lower())) == text


@pytest.mark.parametrize(
    ("text", "position", "nearest"),
    [("P22", 3, "P20"), ("M50", 3, "M40"), ("HX-P20", 1, "HC-P20"), ("HC-Q20", 2, None),
     ("Q", 2, None), ("", 2, None), ("P205", 3, "P20"), ("HC", 2, None)],
)  # fmt: skip
def test_what_is_no_group_is_told_by_position(
    text: str, position: int, nearest: str | None
) -> None:
    with pytest.raises(BadDesignation) as refused:
        read_material(text)

    assert refused.value.facts["position"] == position
    if nearest:
        assert read_material(str(refused.value.facts["nearest"]))


def test_low_numbers_lean_to_wear_resistance_and_high_ones_to_toughness() -> None:
    for letter, group in GROUPS.items():
        assert "wear resistance:" in (read_material(letter + group.numbers[0]).lean or "")
        assert "toughness:" in (read_material(letter + group.numbers[-1]).lean or "")
        assert read_material(letter).lean is None


def test_every_position_is_told() -> None:
    told = explain_material(read_material("HC-P20"))

    assert [(one.position, one.text) for one in told] == [(1, "HC"), (2, "P"), (3, "20")]
    assert told[1].value == "steel"


def test_no_group_begins_like_a_cutting_material_and_a_number() -> None:
    assert not any(name[0] in GROUPS and name[1].isdigit() for name in CUTTING_MATERIALS)
