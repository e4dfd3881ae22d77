"""Which sister stands behind a swap, case by case."""

from datetime import UTC, datetime, timedelta

import pytest

from crib.errors import NotKnown
from crib.planning.shelf import (
    BenchMinutes,
    FreeHolder,
    LotEdges,
    Shelf,
    Sister,
    SpecNeeds,
    SwapNeed,
    WaitingAssembly,
)
from crib.planning.sisters import SpokenFor, find_sisters

NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)
SPECS = {
    "turn": SpecNeeds("square 12", ("item A", "item B"), preset_minutes=20),
    "face": SpecNeeds("square 12", ("item A",)),
    "mill": SpecNeeds("cutter", ("item C",), items_per_tool=3),
}


def _need(hours, station_id=1, ordinal=0, spec="turn", out=None, **more):
    return SwapNeed(
        station_id, "M1", f"T{station_id}", station_id, 1, spec, None, ordinal,
        NOW + hours * HOUR, out, **more,
    )  # fmt: skip


def _waiting(code, spec="turn", void=None):
    void_after = None if void is None else NOW + void * HOUR
    return WaitingAssembly(code, spec, f"holder of {code}", "square 12", void_after)


def _shelf(**pieces):
    return Shelf(specs=SPECS, **pieces)


def _states(needs, shelf, **more):
    return [sister.state for sister in find_sisters(needs, shelf, **more)]


def test_a_measured_assembly_is_ready_and_goes_to_the_swap_that_comes_first():
    sisters = find_sisters(
        [_need(8, 1), _need(4, 2)],
        _shelf(ready=(_waiting("A1"),), unmeasured=(_waiting("A2"),)),
    )

    assert [(s.state, s.assembly, s.holder) for s in sisters] == [
        ("measure", "A2", "holder of A2"),
        ("ready", "A1", "holder of A1"),
    ]


def test_a_preset_that_is_void_before_the_swap_has_to_be_measured_again():
    shelf = _shelf(ready=(_waiting("A1", void=5),))

    assert _states([_need(5)], shelf) == ["ready"]
    assert _states([_need(5.01)], shelf) == ["measure"]


def test_the_preset_that_is_void_first_is_used_first():
    shelf = _shelf(ready=(_waiting("A1"), _waiting("A2", void=9), _waiting("A3", void=5)))

    sisters = find_sisters([_need(4, 1), _need(8, 2), _need(12, 3)], shelf)

    assert [s.assembly for s in sisters] == ["A3", "A2", "A1"]
    assert {s.state for s in sisters} == {"ready"}


def test_what_is_spoken_for_is_left_by_later_swaps_and_not_by_earlier_ones():
    kept = [SpokenFor(1, "turn", Sister("ready", assembly="A2", holder="holder of A2"))]
    shelf = _shelf(ready=(_waiting("A1"), _waiting("A2"), _waiting("A3")))

    later = find_sisters(
        [_need(4, 1), _need(8, 2), _need(9, 3)], shelf, spoken_for=kept, turns=[0, 1, 1]
    )
    sooner = find_sisters([_need(4, 1), _need(5, 2)], shelf, spoken_for=kept, turns=[0, 0])

    assert [one.assembly for one in later] == ["A1", "A3", None]
    assert [one.assembly for one in sooner] == ["A1", "A2"]


def test_a_swap_of_an_earlier_turn_is_served_first_though_it_is_due_later():
    shelf = _shelf(ready=(_waiting("A1"),))

    sisters = find_sisters([_need(4, 1), _need(8, 2)], shelf, turns=[1, 0])

    assert [one.assembly for one in sisters] == [None, "A1"]


def test_a_holder_and_edges_that_are_spoken_for_build_no_later_sister():
    build = Sister("build", holder="H1", lot="LA", cutting_item="item A")
    shelf = _shelf(
        holders=(FreeHolder("H1", "square 12"), FreeHolder("H2", "square 12")),
        lots=(LotEdges("LA", "item A", 2),),
    )
    needs = [_need(8, 1), _need(9, 2)]

    alone = find_sisters(needs, shelf)
    beside = find_sisters(needs, shelf, spoken_for=[SpokenFor(0, "turn", build)], turns=[0, 0])

    assert [(one.state, one.holder) for one in alone] == [("build", "H1"), ("build", "H2")]
    assert [(one.state, one.holder) for one in beside] == [("build", "H2"), ("blocked", None)]


def test_an_assembly_of_another_spec_is_no_sister():
    assert _states([_need(4)], _shelf(ready=(_waiting("A1", "face"),))) == ["blocked"]


def test_a_free_holder_and_an_edge_can_be_built():
    shelf = _shelf(
        holders=(FreeHolder("H1", "square 12"),),
        lots=(LotEdges("L1", "item B", 5), LotEdges("L2", "item A", 1)),
    )

    (sister,) = find_sisters([_need(4)], shelf)

    assert (sister.state, sister.holder, sister.lot, sister.cutting_item, sister.minutes) == (
        "build", "H1", "L2", "item A", 20,
    )  # fmt: skip
    assert sister.holder_from is None


def test_the_second_choice_of_item_serves_when_the_first_is_used_up():
    shelf = _shelf(
        holders=(FreeHolder("H1", "square 12"), FreeHolder("H2", "square 12")),
        lots=(LotEdges("L1", "item A", 1), LotEdges("L2", "item B", 1)),
    )

    sisters = find_sisters([_need(4, 1), _need(5, 2)], shelf)

    assert [s.lot for s in sisters] == ["L1", "L2"]


def test_everything_missing_is_named_with_how_many():
    (sister,) = find_sisters(
        [_need(4, spec="mill")], _shelf(lots=(LotEdges("L", "item C", 2),))
    )

    assert sister.state == "blocked"
    assert [(m.what, m.names, m.wanted) for m in sister.missing] == [
        ("holder", ("cutter",), 1),
        ("edge", ("item C",), 3),
    ]


def test_a_cutter_takes_all_its_edges_from_one_lot():
    shelf = _shelf(
        holders=tuple(FreeHolder(f"H{i}", "cutter") for i in range(3)),
        lots=(LotEdges("L1", "item C", 2), LotEdges("L2", "item C", 7)),
    )

    sisters = find_sisters([_need(i, i, spec="mill") for i in (1, 2, 3)], shelf)

    assert [(s.state, s.lot) for s in sisters] == [
        ("build", "L2"),
        ("build", "L2"),
        ("blocked", None),
    ]


def test_a_holder_that_came_out_is_the_next_sister_after_its_bench_time():
    shelf = _shelf(lots=(LotEdges("L1", "item A", 9),), ready=(_waiting("A1"),))
    needs = [_need(1, 1, out="H1"), _need(1.5, 2, out="H2")]

    (first, second) = find_sisters(needs, shelf)
    (_, too_soon) = find_sisters([needs[0], _need(1.2, 2, out="H2")], shelf)

    assert first.state == "ready"
    assert (second.state, second.holder) == ("build", "H1")
    assert second.holder_from == NOW + HOUR
    assert second.available_from == NOW + HOUR + timedelta(minutes=20)
    assert too_soon.state == "blocked"


def test_what_a_sister_brought_in_comes_out_at_the_next_swap_of_that_station():
    shelf = _shelf(
        holders=(FreeHolder("H1", "square 12"),), lots=(LotEdges("L1", "item A", 9),)
    )
    needs = [
        _need(3 * (i + 1), ordinal=i, out="H0" if i == 0 else "not read") for i in range(4)
    ]

    sisters = find_sisters(needs, shelf)

    assert [s.holder for s in sisters] == ["H1", "H0", "H1", "H0"]
    assert [s.state for s in sisters] == ["build"] * 4


def test_with_one_holder_only_the_machine_stands_while_it_is_rebuilt():
    shelf = _shelf(lots=(LotEdges("L1", "item A", 2),))
    needs = [_need(3 * (i + 1), ordinal=i, out="H0" if i == 0 else None) for i in range(3)]

    sisters = find_sisters(needs, shelf)

    assert [[m.what for m in s.missing] for s in sisters] == [
        ["holder"],
        ["holder"],
        ["holder", "edge"],
    ]
    assert [s.lot for s in sisters] == ["L1", "L1", None]
    assert sisters[0].available_from == needs[0].swap_by + timedelta(minutes=20)


def test_a_holder_of_another_type_comes_out_when_the_job_changes():
    shelf = _shelf(
        holders=(FreeHolder("H1", "square 12"),),
        lots=(LotEdges("L1", "item A", 9), LotEdges("L3", "item C", 9)),
    )
    needs = [
        _need(2, 1, out="C1", releases_type="cutter"),
        _need(9, 2, spec="mill"),
    ]

    (turn, mill) = find_sisters(needs, shelf)

    assert (turn.holder, mill.holder) == ("H1", "C1")


def test_a_holder_of_another_type_cannot_be_rebuilt_in_its_station():
    shelf = _shelf(lots=(LotEdges("L1", "item A", 1), LotEdges("L3", "item C", 9)))
    needs = [_need(2, 1, out="C1", releases_type="cutter"), _need(9, 2, spec="mill")]

    (turn, mill) = find_sisters(needs, shelf)

    assert (turn.state, turn.lot, turn.available_from) == ("blocked", None, None)
    assert (mill.state, mill.holder) == ("build", "C1")


def test_a_holder_that_is_back_from_repair_later_serves_later_swaps():
    shelf = _shelf(
        holders=(FreeHolder("H1", "square 12", free_from=NOW + 5 * HOUR),),
        lots=(LotEdges("L1", "item A", 9),),
    )

    assert _states([_need(4)], shelf) == ["blocked"]
    assert _states([_need(6)], shelf) == ["build"]


def test_closed_hours_of_the_bench_can_make_a_released_holder_too_late():
    shelf = _shelf(ready=(_waiting("A1"),), lots=(LotEdges("L1", "item A", 9),))
    needs = [_need(1, 1, out="H1"), _need(6, 2)]

    def tomorrow(at, _minutes):
        return at + timedelta(days=1)

    assert _states(needs, shelf) == ["ready", "build"]
    assert _states(needs, shelf, finish=tomorrow) == ["ready", "blocked"]


def test_measuring_never_takes_longer_than_building():
    usual = BenchMinutes(build=15, measure=6)

    assert SPECS["turn"].measure_minutes(usual) == 6
    assert SpecNeeds("t", ("i",), preset_minutes=4).measure_minutes(usual) == 4
    assert SPECS["face"].build_minutes(usual) == 15


def test_a_spec_that_nobody_describes_is_named():
    with pytest.raises(NotKnown, match="tool spec odd") as refused:
        find_sisters([_need(1, spec="odd")], _shelf())

    assert refused.value.facts == {"tool_spec": "odd"}


def test_stock_is_summed_per_item():
    shelf = _shelf(
        lots=(LotEdges("L1", "i", 2), LotEdges("L2", "i", 3), LotEdges("L3", "k", 0))
    )

    assert shelf.stock() == {"i": 5, "k": 0}


def test_a_preset_without_a_measure_that_the_station_needs_is_no_sister_there():
    lacks = WaitingAssembly("A1", "turn", "H1", "square 12", measures=frozenset({"LF", "WF"}))
    has = WaitingAssembly("A2", "turn", "H2", "square 12", measures=frozenset({"LF", "HF"}))
    needs = [_need(4, 1, measures=frozenset({"LF", "HF"})), _need(8, 2, measures=frozenset())]

    both = find_sisters(needs, _shelf(ready=(lacks, has)))
    alone = find_sisters(needs[:1], _shelf(ready=(lacks,)))

    # the one that lacks it is still ready for the station that does without
    assert [(s.state, s.assembly) for s in both] == [("ready", "A2"), ("ready", "A1")]
    assert [(s.state, s.assembly, s.lacking) for s in alone] == [("measure", "A1", ("HF",))]
    assert alone[0].minutes > 0
