"""Places of racks: the order in which people look for them, and which names are one."""

from __future__ import annotations

import pytest

from crib.floor.places import place_name, place_order


def test_places_are_in_the_order_of_their_numbers_and_none_comes_last() -> None:
    wanted = ["2", "10", "A 2", "A 10 b", "A 10 c", "place 2", "place 10", "place 100", None]

    backwards = wanted[::-1]
    assert sorted(backwards, key=place_order) == wanted


@pytest.mark.parametrize("odd", ["", " ", "²", "٣", "-1", "1.5", "9" * 60])
def test_odd_places_are_sorted_too(odd: str) -> None:
    assert len(sorted([odd, "place 1", "1"], key=place_order)) == 3


def test_one_place_written_in_other_ways_is_one() -> None:
    assert place_name(" Place  10 ") == place_name("place 10") != place_name("place 1 0")
