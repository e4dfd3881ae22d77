"""A confirmed life holds for the removal and the parts that the person saw."""

from __future__ import annotations

from typing import Any

import pytest

from crib.acts.confirm_life import ConfirmLife, confirm_life
from crib.errors import Conflict, NotKnown
from crib.outlook.cuts_ahead import cuts_ahead
from crib.outlook.lives import Lives, gather_lives
from crib.outlook.shop_now import read_shop


def cut(acts: Any) -> int:
    """An edge that was worn after 60 parts; its removal."""
    acts.mount(acts.ready(), 2)
    acts.counts(*((2 + minute, minute) for minute in range(61)))
    return int(acts.remove(62, "size").fact_id)


def lives(acts: Any) -> Lives:
    shop = read_shop(acts.tx, acts.present)
    return gather_lives(shop, cuts_ahead(shop).values())


def confirm(acts: Any, removal: int, parts: int, minutes: float = 63) -> Any:
    command = ConfirmLife(removal, parts, at=acts.at(minutes), by="B1")
    return confirm_life(acts.tx, acts.present, command)


def test_a_life_is_sure_with_the_parts_that_were_seen(acts: Any) -> None:
    removal = cut(acts)
    assert lives(acts).histories.sure.tolist() == [False]

    confirm(acts, removal, 60)

    found = lives(acts)
    assert found.histories.sure.tolist() == [True]
    assert [stay.row.removal_id for stay in found.ended] == [removal]


def test_other_parts_than_were_seen_have_to_be_looked_at_again(acts: Any) -> None:
    removal = cut(acts)

    confirm(acts, removal, 59)

    assert lives(acts).histories.sure.tolist() == [False]
    confirm(acts, removal, 60, 64)
    assert lives(acts).histories.sure.tolist() == [True]


def test_a_life_cannot_be_confirmed_before_it_ended(acts: Any) -> None:
    removal = cut(acts)

    with pytest.raises(Conflict, match="is too early"):
        confirm(acts, removal, 60, 50)


def test_only_removals_end_lives(acts: Any) -> None:
    code = acts.ready()
    mounted = acts.mount(code, 2)

    with pytest.raises(NotKnown, match="is no removal"):
        confirm(acts, mounted.fact_id, 0)
