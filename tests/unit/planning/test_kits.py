"""What a changeover keeps, pulls, builds and returns."""

from datetime import UTC, datetime, timedelta

import pytest

from crib.errors import Invalid
from crib.planning.kits import StationNow, WantedTool, make_kit
from crib.planning.shelf import FreeHolder, LotEdges, Shelf, Sister, SpecNeeds, WaitingAssembly

AT = datetime(2026, 3, 2, 6, tzinfo=UTC)
SPECS = {
    name: SpecNeeds(kind, (item,), preset_minutes=20)
    for name, kind, item in [
        ("turn", "square", "insert"),
        ("back", "square", "insert"),
        ("drill", "collet", "drill 3"),
    ]
}


def _seated(number, spec, usable=True, path=1):
    return StationNow(
        10 * path + number, f"T{path}{number}", number, path, f"A{path}{number}", spec,
        f"H{path}{number}", SPECS[spec].holder_type, usable,
    )  # fmt: skip


def _empty(number, path=1):
    return StationNow(10 * path + number, f"T{path}{number}", number, path)


def _kit(stations, wanted, swap_minutes=None, **pieces):
    tools = [WantedTool(number, 1, spec) for number, spec in wanted]
    return make_kit(AT, "M1", stations, tools, Shelf(specs=SPECS, **pieces), swap_minutes)


def _stations(lines):
    return [line.station for line in lines]


def test_a_tool_that_is_right_already_stays():
    kit = _kit([_seated(1, "turn"), _seated(2, "back")], [(1, "turn"), (2, "back")])

    assert _stations(kit.keep) == ["T11", "T12"]
    assert kit.pull == kit.build == kit.blocked == kit.returned == kit.idle == ()
    assert (kit.bench_minutes, kit.machine_minutes) == (0, 0)


def test_a_worn_tool_is_changed_for_its_like():
    ready = WaitingAssembly("A9", "turn", "H9", "square")

    kit = _kit([_seated(1, "turn", usable=False)], [(1, "turn")], ready=(ready,))

    assert [(line.station, line.assembly) for line in kit.pull] == [("T11", "A9")]
    assert [(line.assembly, line.note) for line in kit.returned] == [
        ("A11", "edge has too little life left")
    ]


def test_each_tool_comes_from_the_nearest_source():
    kit = _kit(
        [_seated(1, "back"), _empty(2), _empty(3)],
        [(1, "turn"), (2, "back"), (3, "drill")],
        ready=(WaitingAssembly("A7", "turn", "H7", "square"),),
        unmeasured=(WaitingAssembly("A8", "back", "H8", "square"),),
        holders=(FreeHolder("H9", "collet"),),
        lots=(LotEdges("L1", "drill 3", 4),),
        swap_minutes={"turn": 2, "back": 3},
    )

    assert [(line.assembly, line.station) for line in kit.pull] == [("A7", "T11")]
    assert [(line.station, line.sister.state, line.holder) for line in kit.build] == [
        ("T12", "measure", "H8"),
        ("T13", "build", "H9"),
    ]
    assert _stations(kit.returned) == ["T11"]
    assert kit.bench_minutes == 6 + 20
    assert kit.machine_minutes == 2 + 3 + 5


def test_a_preset_that_is_void_at_the_changeover_is_not_pulled():
    void = WaitingAssembly("A7", "turn", "H7", "square", AT - timedelta(minutes=1))

    kit = _kit([_empty(1)], [(1, "turn")], ready=(void,))

    assert kit.pull == ()
    assert [line.sister.state for line in kit.build] == ["measure"]


def test_a_holder_that_comes_out_serves_only_where_none_is_free_and_the_machine_stands():
    stations = [_seated(1, "back"), _empty(2)]
    stock = (LotEdges("L1", "insert", 9),)

    kit = _kit(
        stations, [(1, "turn"), (2, "turn")], holders=(FreeHolder("Z", "square"),), lots=stock
    )

    assert {line.holder: line.stands for line in kit.build} == {"Z": False, "H11": True}
    assert kit.bench_minutes == 20
    assert kit.machine_minutes == 5 + 5 + 20


def test_what_cannot_be_had_is_said():
    kit = _kit([_empty(1)], [(1, "turn"), (7, "drill")])

    assert [(line.station, [m.what for m in line.missing]) for line in kit.blocked] == [
        ("T11", ["holder", "edge"]),
        (None, []),
    ]
    assert kit.blocked[1].note == "no station carries tool number 7 on path 1"
    assert kit.bench_minutes == 0


def test_what_the_next_part_does_not_call_may_stay():
    kit = _kit([_seated(1, "turn"), _seated(2, "back"), _empty(3)], [(1, "turn")])

    assert _stations(kit.idle) == ["T12"]
    assert kit.returned == ()


def test_the_same_number_on_another_path_is_another_tool():
    stations = [_seated(1, "turn", path=1), _seated(1, "drill", path=2)]

    kit = make_kit(AT, "M1", stations, [WantedTool(1, 2, "drill")], Shelf(specs=SPECS))

    assert _stations(kit.keep) == ["T21"]
    assert _stations(kit.idle) == ["T11"]


def test_of_stations_that_share_a_number_the_right_one_is_meant():
    other = StationNow(99, "T99", 1, 1, "A99", "turn", "H99", "square")

    kit = _kit([_seated(1, "back"), other], [(1, "turn")])

    assert _stations(kit.keep) == ["T99"]


def test_operations_that_repeat_a_tool_ask_for_it_once():
    kit = _kit([_seated(1, "turn")], [(1, "turn"), (1, "turn")])

    assert _stations(kit.keep) == ["T11"]


def test_two_specs_at_one_number_are_refused():
    with pytest.raises(Invalid, match="Tool number 1 on path 1 is named as turn and as drill"):
        _kit([_seated(1, "turn")], [(1, "turn"), (1, "drill")])


def test_a_tool_without_a_station_says_its_number_and_path():
    (line,) = _kit([_seated(1, "turn")], [(1, "turn"), (7, "drill")]).blocked

    assert (line.station, line.tool_number, line.path, line.tool_spec) == (None, 7, 1, "drill")
    assert line.note == "no station carries tool number 7 on path 1"


def test_a_waiting_tool_that_lacks_a_measure_is_not_pulled_but_measured_again():
    ready = WaitingAssembly("A9", "turn", "H9", "square", measures=frozenset({"LF", "WF"}))
    wants_hf = StationNow(11, "T11", 1, 1, measures=frozenset({"LF", "HF"}))

    kit = _kit([wants_hf], [(1, "turn")], ready=(ready,))

    assert kit.pull == ()
    assert [(line.assembly, line.note) for line in kit.build] == [
        ("A9", "measure it again with HF, which the station needs")
    ]


def test_what_is_given_to_a_station_already_is_what_its_kit_names():
    meant = Sister("build", holder="H7", lot="L1", holder_from=AT)
    tools = [WantedTool(1, 1, "turn"), WantedTool(2, 1, "turn")]
    shelf = Shelf(
        ready=(WaitingAssembly("A9", "turn", "H9", "square"),),
        lots=(LotEdges("L1", "insert", 1),),
        specs=SPECS,
    )

    kit = make_kit(AT, "M1", [_empty(1), _empty(2)], tools, shelf, own={("T11", "turn"): meant})

    assert [(line.station, line.assembly) for line in kit.pull] == [("T12", "A9")]
    (built,) = kit.build
    assert (built.station, built.sister, built.stands) == ("T11", meant, False)
    assert built.note == "its holder has to come out of a machine first"


def test_a_holder_in_the_machine_that_is_spoken_for_is_not_built_on():
    tools, stock = [WantedTool(1, 1, "turn")], (LotEdges("L1", "insert", 9),)
    shelf = Shelf(lots=stock, specs=SPECS)

    kits = [
        make_kit(AT, "M1", [_seated(1, "back")], tools, shelf, spoken_for=given)
        for given in (frozenset(), frozenset({"H11"}))
    ]

    assert [len(kit.build) for kit in kits] == [1, 0]
    assert [missing.what for missing in kits[1].blocked[0].missing] == ["holder"]


def test_a_shelf_less_what_is_given_has_none_of_it():
    shelf = Shelf(
        ready=tuple(WaitingAssembly(code, "turn", code, "square") for code in ("A1", "A2")),
        unmeasured=(WaitingAssembly("A3", "turn", "A3", "square"),),
        holders=(FreeHolder("H1", "square"), FreeHolder("H2", "square")),
        lots=(LotEdges("L1", "insert", 5), LotEdges("L2", "insert", 2)),
        specs=SPECS | {"pair": SpecNeeds("square", ("insert",), 2)},
    )
    given = [
        ("turn", Sister("ready", assembly="A1", holder="A1")),
        ("turn", Sister("measure", assembly="A3", holder="A3")),
        ("pair", Sister("build", holder="H2", lot="L1")),
        ("turn", Sister("blocked", lot="L2")),
    ]

    left = shelf.less(given)

    assert [one.code for one in (*left.ready, *left.unmeasured)] == ["A2"]
    assert [one.holder for one in left.holders] == ["H1"]
    assert [one.edges_left for one in left.lots] == [3, 1]
