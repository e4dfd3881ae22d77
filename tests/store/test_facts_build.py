"""Building: edges and holders are taken once, and every misfit is named at once."""

from __future__ import annotations

from typing import Any

import pytest

from crib.errors import (
    BadCode,
    Conflict,
    DoesNotFit,
    EdgeUsed,
    HolderInUse,
    Invalid,
    NoneLeft,
    NotKnown,
)
from crib.records.catalogue import LOTS, TOOL_SPECS
from crib.store.records import insert_record, update_record


def test_a_build_takes_a_piece_out_of_its_box_and_says_what_to_do(acts: Any) -> None:
    built = acts.build(by="B1", note="first of the day")

    assert (built.edge, built.edges, built.cutter_status) == (1, 4, "NEW")
    assert acts.one("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'") == 9
    recipe = built.recipe
    assert (recipe.holder, recipe.holder_location, recipe.lot) == ("TH-1", "shelf 1", "LOT-I1")
    assert (recipe.lf_nominal_tenths_um, recipe.tolerance_tenths_um) == (800_000, 2_000)
    assert (recipe.grade, recipe.tip_orientation, recipe.preset_minutes) == ("G15", 3, 6.0)
    assert any("gloves" in caution for caution in built.cautions)
    badge = "SELECT badge FROM people JOIN facts ON person_id = people.id WHERE facts.id = ?"
    assert acts.one(badge, built.fact_id) == "B1"


def test_the_next_edge_of_an_opened_piece_comes_before_a_fresh_piece(acts: Any) -> None:
    acts.mount(acts.ready())
    acts.remove(60)

    built = acts.build(61)

    assert built.edge == 2
    assert built.recipe.pieces[0].number == 1
    assert acts.one("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'") == 9


def test_a_piece_that_sits_in_a_tool_gives_no_second_edge(acts: Any) -> None:
    acts.build()

    built = acts.build(1, "TH-2")

    assert (built.edge, built.recipe.pieces[0].number) == (1, 2)


def test_a_named_edge_is_taken(acts: Any) -> None:
    assert acts.build(edge=3).recipe.pieces[0].edge == 3


def test_a_used_edge_is_refused_where_no_fresh_piece_is_left(acts: Any) -> None:
    lot = acts.shop.ids["lots"]["LOT-I1"]
    update_record(acts.tx, LOTS, lot, {"quantity": 1})
    acts.mount(acts.ready(edge=2))
    acts.remove(60)

    with pytest.raises(EdgeUsed) as refusal:
        acts.build(61, edge=2)

    assert refusal.value.errors[0]["field"] == "edge"
    assert acts.build(61, edge=1).recipe.pieces[0].number == 1


def test_an_edge_that_the_item_does_not_have_is_refused(acts: Any) -> None:
    with pytest.raises(Invalid, match="no edge 5"):
        acts.build(edge=5)


def test_a_lot_without_pieces_is_refused(acts: Any) -> None:
    lot = acts.shop.ids["lots"]["LOT-I1"]
    update_record(acts.tx, LOTS, lot, {"quantity": 1})
    acts.build()

    with pytest.raises(NoneLeft, match="LOT-I1"):
        acts.build(1, "TH-2")


def test_a_tool_of_three_inserts_takes_the_same_edge_of_three_pieces(acts: Any) -> None:
    spec = acts.shop.ids["tool_specs"]["TURN-OD"]
    update_record(acts.tx, TOOL_SPECS, spec, {"items_per_tool": 3})

    acts.mount(acts.ready())
    first = acts.one("SELECT count(*) FROM edge_uses WHERE edge = 1")
    acts.remove(60)
    second = acts.build(61)

    assert first == 3
    assert [(piece.number, piece.edge) for piece in second.recipe.pieces] == [
        (1, 2),
        (2, 2),
        (3, 2),
    ]
    assert acts.one("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'") == 7


def test_a_holder_is_built_once_at_a_time(acts: Any) -> None:
    first = acts.build()

    with pytest.raises(HolderInUse, match=first.code):
        acts.build(1)


def test_a_holder_cannot_be_built_before_it_came_free(acts: Any) -> None:
    acts.mount(acts.ready())
    acts.remove(60)

    with pytest.raises(Conflict, match="too early"):
        acts.build(59)


def test_every_misfit_is_named_at_once(acts: Any) -> None:
    with pytest.raises(DoesNotFit) as refusal:
        acts.build(holder="TH-3", tool_spec="CROSS-3", lot="LOT-I1")

    said = " ".join(error["detail"] for error in refusal.value.errors)
    assert [error["field"] for error in refusal.value.errors] == ["holder", "holder", "lot"]
    assert "needs a ER16-D" in said
    assert "out of service (repair)" in said
    assert "CROSS-3 takes DRILL-3" in said


def test_an_insert_that_the_pocket_does_not_accept_is_refused(acts: Any) -> None:
    values = {
        "cutting_item": "VCGT-1",
        "kind": "insert",
        "designation": "VCGT110302",
        "edges": 2,
    }
    from crib.records.catalogue import CUTTING_ITEMS

    insert_record(acts.tx, CUTTING_ITEMS, values)
    insert_record(acts.tx, LOTS, {"lot": "LOT-V", "cutting_item": "VCGT-1", "quantity": 5})
    spec = acts.shop.ids["tool_specs"]["TURN-OD"]
    update_record(acts.tx, TOOL_SPECS, spec, {"cutting_items": ("CNMG-408", "VCGT-1")})

    with pytest.raises(DoesNotFit, match="VCGT110302 does not go into holder TH-1"):
        acts.build(lot="LOT-V")


def test_a_holder_without_accepted_starts_takes_what_its_designation_says(acts: Any) -> None:
    from crib.records.catalogue import HOLDER_TYPES

    kind = acts.shop.ids["holder_types"]["SQ12-CN"]
    update_record(acts.tx, HOLDER_TYPES, kind, {"accepts": None, "designation": "SCLCR1212F12"})

    with pytest.raises(DoesNotFit, match="its clearance is 0°"):
        acts.build()

    update_record(acts.tx, HOLDER_TYPES, kind, {"designation": "PCLNR1212F12"})
    assert acts.build().code


def test_names_that_nothing_carries_are_told_from_mistyped_codes(acts: Any) -> None:
    with pytest.raises(NotKnown, match="NO-SPEC"):
        acts.build(tool_spec="NO-SPEC")
    with pytest.raises(NotKnown, match="NO-LOT"):
        acts.build(lot="NO-LOT")
    with pytest.raises(BadCode, match="mistyped"):
        acts.build(holder="H00001Z")
    with pytest.raises(NotKnown):
        acts.build(by="nobody")


def test_a_build_in_the_future_is_refused(acts: Any) -> None:
    acts.present = acts.at(0)

    with pytest.raises(Invalid, match="future"):
        acts.build(6)
    assert acts.build(4).cutter_status == "NEW"


def test_a_note_that_is_a_pasted_page_is_refused(acts: Any) -> None:
    with pytest.raises(Invalid, match="note"):
        acts.build(note="x" * 501)


def test_a_refused_build_leaves_nothing_behind(acts: Any) -> None:
    with pytest.raises(DoesNotFit):
        acts.build(holder="DH-1", tool_spec="TURN-OD", lot="LOT-I1")

    assert acts.one("SELECT count(*) FROM facts") == 0
    assert acts.one("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'") == 10
