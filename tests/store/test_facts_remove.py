"""Removals: what a stay made, what becomes of edge and holder; offset steps."""

from __future__ import annotations

from typing import Any

import pytest

from crib.acts.correct_offset import CorrectOffset, OffsetCorrected, correct_offset
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import Conflict, Invalid, NotMounted
from crib.outlook.shop_now import read_shop
from crib.records.catalogue import PARTS, RUNS, TOOL_SPECS
from crib.store.records import insert_record, update_record


def step(
    acts: Any, minutes: float, change: int, kind: str = "size", axis: str = "X", **values: Any
) -> OffsetCorrected:
    command = CorrectOffset(
        values.pop("station", "M1/T01"), axis, change, kind, at=acts.at(minutes), **values
    )
    return correct_offset(acts.tx, acts.present, command)


def test_a_removal_tells_what_the_stay_made(acts: Any) -> None:
    acts.mount(acts.ready(), 0)
    acts.counts((0, 1_000), (75, 1_100))

    out = acts.remove(75, "worn as planned", flank_wear_tenths_um=1_500, by="B2")

    assert out.reason == "worn_as_planned"
    assert out.parts_made == out.parts_in_all == 100
    # 30 mm at 0.08 mm/rev and 120 m/min on 10 mm: 1000 * 120 / (pi * 10) = 3819.7 rpm,
    # 30 / (0.08 * 3819.7) = 0.098175 min; life (250 / 120)^4 = 18.838 min
    assert out.engaged_min == pytest.approx(100 * 0.0981748, rel=1e-5)
    assert out.share_of_life_used == pytest.approx(100 * 0.0981748 / 18.83801, rel=1e-4)
    assert out.basis == "tool_life"
    assert out.cutter_status == "EXPIRED"
    assert out.ended


def test_without_constants_the_plain_guess_counts(acts: Any) -> None:
    acts.tx.exec_driver_sql("DELETE FROM tool_life")
    acts.mount(acts.ready(), 0)
    acts.counts((0, 0), (80, 80))

    out = acts.remove(80)

    assert out.basis == "life_parts"
    assert out.share_of_life_used == pytest.approx(80 / 800)


def test_a_worn_edge_is_used_up_and_the_next_one_named(acts: Any) -> None:
    acts.mount(acts.ready())

    out = acts.remove()

    assert [(fate.fate, fate.next_edge, fate.edges_left) for fate in out.edges] == [
        ("next_edge", 2, 3)
    ]
    assert "Holder TH-1 is free" in out.holder_sentence
    assert acts.build(61).edge == 2


@pytest.mark.parametrize("reason", ["size", "finish", "burr", "built-up edge", "worn early"])
def test_other_reasons_of_wear_end_the_edge_too(acts: Any, reason: str) -> None:
    acts.mount(acts.ready())

    assert acts.remove(60, reason).cutter_status == "EXPIRED"


def test_a_broken_insert_is_scrap_and_the_next_build_opens_another(acts: Any) -> None:
    acts.mount(acts.ready())

    out = acts.remove(60, "broken")

    assert out.cutter_status == "BROKEN"
    assert out.edges[0].fate == "scrap"
    assert "seat" in out.holder_sentence
    built = acts.build(61)
    assert (built.recipe.pieces[0].number, built.edge) == (2, 1)


def test_a_chipped_edge_leaves_the_others(acts: Any) -> None:
    acts.mount(acts.ready())

    out = acts.remove(60, "chipped")

    assert out.cutter_status == "BROKEN"
    assert out.edges[0].next_edge == 2


def test_a_used_drill_goes_to_be_ground(acts: Any) -> None:
    acts.mount(acts.ready(0, "DH-1"), station="M1/T11")

    out = acts.remove(60, station="M1/T11")

    assert (out.edges[0].fate, out.edges[0].regrinds_left) == ("regrind", 2)


@pytest.mark.parametrize("reason", ["job change", "inspection"])
def test_a_tool_taken_out_for_another_job_stays_built(acts: Any, reason: str) -> None:
    code = acts.ready()
    acts.mount(code)

    out = acts.remove(60, reason)

    assert (out.cutter_status, out.ended, out.edges) == ("USED", False, ())
    assert "stays built" in out.holder_sentence
    assert acts.mount(code, 61).code == code


def test_parts_of_stays_that_follow_each_other_add_up(acts: Any) -> None:
    acts.counts((0, 0), (7, 9), (100, 100))
    code = acts.ready(0)
    made = []
    for begin, end in ((0, 3.3), (3.3, 50.5), (50.5, 100)):
        acts.mount(code, begin)
        made.append(acts.remove(end, "inspection"))

    assert sum(out.parts_made for out in made) == 100
    assert [out.parts_in_all for out in made][-1] == 100
    assert made[-1].share_of_life_used == pytest.approx(
        sum(out.share_in_stay or 0 for out in made)
    )
    assert made[-1].engaged_in_all_min == pytest.approx(
        sum(out.engaged_min or 0 for out in made)
    )


def test_a_tool_is_taken_out_by_its_own_code_or_its_station(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)

    with pytest.raises(Conflict, match=code):
        acts.remove(60, station="M1/T01", assembly=acts.ready(5, "TH-2"))
    assert acts.remove(60, assembly=code).station == "M1/T01"


def test_nothing_comes_out_of_an_empty_station(acts: Any) -> None:
    code = acts.ready()

    with pytest.raises(NotMounted, match="M1/T01 is empty"):
        acts.remove(60)
    with pytest.raises(NotMounted, match="sits in no station"):
        acts.remove(60, assembly=code)
    with pytest.raises(Invalid, match="scan the station or the tool"):
        acts.remove(60, station=None)


def test_a_removal_before_its_mount_is_refused(acts: Any) -> None:
    acts.mount(acts.ready(), 10)

    with pytest.raises(Conflict, match="too early"):
        acts.remove(9)


def test_a_removal_before_an_offset_step_is_refused(acts: Any) -> None:
    acts.mount(acts.ready(), 10)
    step(acts, 30, -100)

    with pytest.raises(Conflict, match="was stepped"):
        acts.remove(29)


def test_a_reason_that_is_none_is_refused(acts: Any) -> None:
    acts.mount(acts.ready())

    with pytest.raises(Invalid, match="worn as planned, worn early"):
        acts.remove(60, "bored with it")


def test_figures_that_cannot_be_are_refused(acts: Any) -> None:
    acts.mount(acts.ready())

    with pytest.raises(Invalid, match="part count"):
        acts.remove(60, part_count=-3)
    with pytest.raises(Invalid, match="part count"):
        acts.remove(60, part_count=10**30)
    with pytest.raises(Invalid, match="is not plausible"):
        acts.remove(60, flank_wear_tenths_um=-1)
    with pytest.raises(Invalid, match="is not plausible"):
        acts.remove(60, flank_wear_tenths_um=100_001)


def test_the_part_count_at_the_removal_counts(acts: Any) -> None:
    acts.mount(acts.ready(), 0, part_count=500)

    assert acts.remove(75, part_count=590).parts_made == 90


def test_a_first_off_step_teaches_the_datum(acts: Any) -> None:
    acts.mount(acts.ready())

    first = step(acts, 5, -120, "first_off")
    acts.remove(60)
    acts.mount(acts.ready(61), 62)
    second = step(acts, 65, -60, "first off")

    assert (first.offset.text, first.steps_tenths_um) == ("+51.989", -120)
    assert "-0.012 mm on diameter" in first.learned
    # the second tool was told the datum that the first one taught: the radius lies 0.006 mm
    # and, by the second, half of 0.006 mm farther in, less what the scatter is believed to be
    assert "2 first-offs" in second.learned
    assert second.datum is not None
    assert -0.0090 < second.datum.datum_mm - 10 < -0.0060
    assert second.datum.first_offs == 2


def test_size_steps_add_up_to_the_wear(acts: Any) -> None:
    acts.mount(acts.ready())

    step(acts, 20, -50)
    last = step(acts, 40, -70)

    assert last.offset.value_tenths_um == 520_010 - 120
    assert "changed the part by 0.012 mm on diameter" in last.learned


def test_a_step_that_the_control_cannot_hold_is_refused(acts: Any) -> None:
    acts.mount(acts.ready())

    with pytest.raises(Invalid, match="finer than this control takes"):
        step(acts, 5, 15)  # the control steps by 0.001 mm
    assert acts.one("SELECT count(*) FROM corrections") == 0


def test_a_step_that_is_none_is_refused_with_every_reason(acts: Any) -> None:
    acts.mount(acts.ready())

    with pytest.raises(Invalid) as refusal:
        step(acts, 5, 0, "guess", "W")

    assert [error["field"] for error in refusal.value.errors] == ["axis", "kind", "change_mm"]
    with pytest.raises(Invalid, match="Did you mean"):
        step(acts, 5, 1_000_000)
    with pytest.raises(Invalid, match="sets no Y"):
        step(acts, 5, 100, axis="Y")


def test_a_step_goes_to_the_tool_that_was_in_the_station_then(acts: Any) -> None:
    first = acts.ready()
    acts.mount(first, 2)
    acts.remove(60, "job change")
    second = acts.ready(5, "TH-2")
    acts.mount(second, 70)

    assert step(acts, 30, 100).code == first
    assert step(acts, 80, 100).code == second
    with pytest.raises(NotMounted):
        step(acts, 65, 100)


def test_a_tool_that_never_cut_gives_its_edge_back(acts: Any) -> None:
    code = acts.ready()

    down = tear_down(acts.tx, acts.present, TearDown(code, "wrong insert", at=acts.at(5)))

    assert down.never_cut
    assert (down.holder, down.cutter_status) == ("TH-1", "UNAVAILABLE")
    again = acts.build(6)
    assert (again.edge, again.recipe.pieces[0].number) == (1, 1)
    assert acts.one("SELECT on_hand FROM lots WHERE lot = 'LOT-I1'") == 9


def test_a_tool_that_cut_gives_no_edge_back(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    with pytest.raises(Conflict, match="take it out first"):
        tear_down(acts.tx, acts.present, TearDown(code))
    acts.remove(60, "job change")

    down = tear_down(acts.tx, acts.present, TearDown(code, at=acts.at(61)))

    assert not down.never_cut
    assert down.edges[0].next_edge == 2
    assert acts.build(62).edge == 2
    with pytest.raises(Conflict, match="ended already"):
        tear_down(acts.tx, acts.present, TearDown(code))


def test_the_last_edge_ends_the_piece(acts: Any) -> None:
    fates = []
    for turn in range(4):
        acts.mount(acts.ready(turn * 100), turn * 100)
        fates.append(acts.remove(turn * 100 + 50).edges[0])

    assert [fate.fate for fate in fates] == ["next_edge"] * 3 + ["scrap"]
    assert acts.one("SELECT scrapped FROM pieces") == 1
    assert acts.build(500).recipe.pieces[0].number == 2


def test_wear_is_unknown_where_no_run_was_on(acts: Any) -> None:
    acts.tx.exec_driver_sql("DELETE FROM runs")
    acts.mount(acts.ready(), 0)
    acts.counts((0, 0), (60, 60))

    out = acts.remove(60)

    assert (out.parts_made, out.share_of_life_used, out.engaged_min) == (60, None, None)


def test_a_faster_tool_wears_by_the_speed_that_it_reaches(acts: Any) -> None:
    spec = acts.shop.ids["tool_specs"]["TURN-OD"]
    update_record(acts.tx, TOOL_SPECS, spec, {"max_rpm": 1_909.859})  # half of 3819.7
    acts.mount(acts.ready(), 0)
    acts.counts((0, 0), (75, 100))

    out = acts.remove(75)

    assert out.engaged_min == pytest.approx(2 * 100 * 0.0981748, rel=1e-5)
    # half the speed lives 2^4 times as long and takes twice the time per part
    assert out.share_of_life_used == pytest.approx(
        100 * 0.0981748 / 18.83801 * 2 / 16, rel=1e-4
    )


def test_a_removal_tells_the_wear_that_the_forecast_reckons_with(acts: Any) -> None:
    acts.counts((0, 0), (20, 25), (90, 100), (95, 0), (200, 120))
    acts.mount(acts.ready(0), 0)
    first = acts.remove(33.3, "inspection")
    acts.mount(acts.ready(0, "DH-1"), 10, station="M1/T11")
    second = acts.remove(150, station="M1/T11")

    stays = {stay.row.mount_id: stay for stay in read_shop(acts.tx, acts.at(300)).stays}

    for out in (first, second):
        mount = acts.one("SELECT mount_id FROM removals WHERE fact_id = ?", out.fact_id)
        assert stays[mount].parts == out.parts_made
        assert stays[mount].wear == pytest.approx(out.share_in_stay)
        assert stays[mount].engaged_min == pytest.approx(out.engaged_min)
        assert stays[mount].basis == out.basis


def test_each_run_of_a_stay_wears_by_its_own_program(acts: Any) -> None:
    end_us = int(acts.at(45).timestamp() * 1e6)
    acts.tx.exec_driver_sql("UPDATE runs SET state = 'done', end_at = ?", (end_us,))
    part = {
        "part": "BUSH-9",
        "material": "1.4305",
        "material_group": "M",
        "cycle_s": 45.0,
        "operations": [
            {"sequence": 10, "tool_number": 1, "tool_spec": "TURN-OD", "kind": "turn"}
            | {"engaged_s": 12.0, "start_diameter_mm": 10.0, "feed_mm_rev": 0.08}
            | {"cutting_speed_m_min": 120.0}
        ],
    }
    insert_record(acts.tx, PARTS, part)
    run = {"machine": "M1", "part": "BUSH-9", "quantity": 500, "state": "running"}
    insert_record(acts.tx, RUNS, run | {"start_at": acts.at(45)})
    acts.mount(acts.ready(0), 0)
    acts.counts((0, 0), (45, 60), (75, 100))

    out = acts.remove(75)

    # 60 parts at 0.0981748 min and 40 at 12 s, all at 120 m/min: life 18.838 min
    minutes = 60 * 0.0981748 + 40 * 0.2
    assert out.engaged_min == pytest.approx(minutes, rel=1e-5)
    assert out.share_of_life_used == pytest.approx(minutes / 18.83801, rel=1e-4)
