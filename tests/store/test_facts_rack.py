"""The rack: a tool has a place until it is mounted, and waits for a swap or for nobody."""

from __future__ import annotations

from typing import Any

import pytest

from crib.acts.print_label import PrintLabel, print_label
from crib.acts.put_in_rack import PutInRack, RackPlace, put_in_rack
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import AlreadyMounted, Conflict, Invalid, NotKnown
from crib.store.rack_rows import place_of, sharing_places


def put(acts: Any, code: str, minutes: float = 2, **values: Any) -> RackPlace:
    command = PutInRack(code, at=acts.at(minutes), **(values or {"machine": "M1"}))
    return put_in_rack(acts.tx, acts.present, command)


def place(acts: Any) -> tuple[str | None, str | None] | None:
    row = place_of(acts.tx, acts.one("SELECT min(fact_id) FROM assemblies"))
    return None if row is None else (row.machine, row.place)


def test_a_tool_has_its_place_until_it_is_mounted(acts: Any) -> None:
    code = acts.ready()

    first = put(acts, code, machine="m1", place="A 3")
    second = put(acts, code, 3, machine="M2")

    assert (first.machine, first.place, first.was_machine) == ("M1", "A 3", None)
    assert (second.machine, second.was_machine, second.was_place) == ("M2", "M1", "A 3")
    assert place(acts) == ("M2", None)
    mounted = acts.mount(code, 4)
    assert place(acts) is None
    reverse_fact(acts.tx, acts.present, ReverseFact(mounted.fact_id))
    assert place(acts) == ("M2", None)


def test_a_place_that_was_taken_back_leaves_the_one_before(acts: Any) -> None:
    code = acts.ready()
    put(acts, code, place="A 3")
    wrong = put(acts, code, 3, place="B 1")

    reverse_fact(acts.tx, acts.present, ReverseFact(wrong.fact_id))

    assert place(acts) == (None, "A 3")


def test_a_tool_that_came_out_for_a_job_change_is_put_back(acts: Any) -> None:
    code = acts.ready()
    put(acts, code)
    acts.mount(code, 3)
    acts.remove(60, "job_change")
    assert place(acts) is None

    put(acts, code, 61, place="7")

    assert place(acts) == (None, "7")


def test_who_puts_a_tool_where_another_is_recorded_is_told(acts: Any) -> None:
    there, here, elsewhere = acts.ready(), acts.ready(holder="TH-2"), "place 10"
    assert put(acts, there, machine="M1", place="place 1").also_there == ()

    assert put(acts, here, 3, machine="M1", place=" Place  1").also_there == (there,)
    assert sharing_places(acts.tx) == {there: (here,), here: (there,)}
    assert put(acts, here, 4, machine="M2", place="place 1").also_there == ()
    assert put(acts, here, 5, machine="M1", place=elsewhere).also_there == ()
    put(acts, here, 6, machine="M1", place="place 1")
    acts.mount(there, 7)  # it left the rack
    assert put(acts, here, 8, machine="M1", place="place 1").also_there == ()


def test_a_bench_or_a_rack_without_places_holds_many(acts: Any) -> None:
    first, second = acts.ready(), acts.ready(holder="TH-2")
    for minutes, code in ((3, first), (4, second)):
        assert put(acts, code, minutes, place="bench 1").also_there == ()
        assert put(acts, code, minutes, machine="M1").also_there == ()


def test_what_sits_in_a_machine_or_is_over_has_no_place(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    with pytest.raises(AlreadyMounted):
        put(acts, code, 3)
    acts.remove(60, "inspection")
    tear_down(acts.tx, acts.present, TearDown(code, at=acts.at(61)))

    with pytest.raises(Conflict, match="does not belong in a rack"):
        put(acts, code, 62)


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ({"place": " "}, Invalid),
        ({"place": "x" * 61}, Invalid),
        ({"machine": "M9"}, NotKnown),
        ({"machine": "M1", "minutes": 0.5}, Conflict),
    ],
)
def test_a_place_that_cannot_be_is_refused(
    acts: Any, values: dict[str, Any], kind: type
) -> None:
    code = acts.ready(1)

    with pytest.raises(kind):
        put(acts, code, **values)
    assert acts.one("SELECT count(*) FROM rack_places") == 0


def test_a_print_says_nothing_of_the_place(acts: Any) -> None:
    code = acts.ready()
    put(acts, code)

    print_label(acts.tx, acts.present, PrintLabel(code, "roll-62x29"))

    assert place(acts) == ("M1", None)
