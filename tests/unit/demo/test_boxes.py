"""Boxes of the demo give their edges in the order in which the records book them."""

from __future__ import annotations

from crib.demo.boxes import Box, Stock


def test_every_edge_of_an_insert_is_used_before_the_next_is_opened():
    box = Box("7-A", "DC11-04-P", 2)
    seen = []
    while (take := box.take()) is not None:
        seen.append((take.number, take.edge))
        box.give_back(take, broken=False)
    assert seen == [(1, 1), (1, 2), (2, 1), (2, 2)]
    assert not box.has_edge()


def test_a_broken_insert_is_gone_with_its_other_edge():
    box = Box("7-A", "DC11-04-P", 1)
    take = box.take()
    assert take is not None
    box.give_back(take, broken=True)
    assert box.take() is None


def test_a_drill_comes_back_from_grinding_as_often_as_it_may():
    box = Box("8-A", "DRILL-2.5", 1)
    grinds = []
    while True:
        take = box.take()
        if take is None:
            break
        grinds.append(take.grind)
        box.give_back(take, broken=False)
        for number in box.dull():
            box.ground(number)
    assert grinds == [0, 1, 2]


def test_an_edge_that_never_cut_is_given_again():
    box = Box("8-A", "TAP-M5", 1)
    take = box.take()
    assert take is not None
    assert box.take() is None
    box.never_cut(take)
    again = box.take()
    assert again is not None
    assert (again.number, again.edge) == (take.number, take.edge)


def test_the_oldest_box_goes_first():
    stock = Stock([Box("1-A", "TAP-M5", 1), Box("1-B", "TAP-M5", 1)])
    assert [stock.take("TAP-M5").box.lot for _ in range(2)] == ["1-A", "1-B"]
    assert not stock.has_edge("TAP-M5")
