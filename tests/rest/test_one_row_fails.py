"""A row that cannot be worked out is told as its own problem; the others stay as they were."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pypdfium2
import pytest

from api import print_labels, print_sheets, print_texts
from api.rest import mtconnect_assets
from crib.acts import questions
from crib.errors import Refusal
from crib.life.model import LifeModel
from crib.outlook import kept_outcomes, kits_ahead, machine_stops, own_constants, shelf_now
from crib.planning import holders_needed
from crib.shopfiles import writing
from crib.views import (
    bench_card,
    gauge_state,
    kept_list,
    key_curve,
    key_uses,
    life_of_key,
    machine_view,
    rack_view,
    score_forecasts,
    shift_view,
    show_feeds,
    tool_costs,
)
from crib.views.export_shop import export_shop
from tests.rest.one_row import fail, rows, text

MACHINE_LINE = machine_view.MachineLine
TURN, DRILL = "CNMG-408~M~turn", "DRILL-3~M~drill"


def of_machine(tx: Any, present: Any, machine_id: int, *_: Any) -> bool:
    return machine_id == 2


def named(key: str) -> Callable[..., bool]:
    return lambda name, *_: name == key


def is_drill(spec: Any, item: Any) -> bool:
    return bool(spec.tool_spec == "CROSS-3")


KIT = "keep pull build blocked returns idle"

#: What fails -> where, whether a call is the one row's, view, its members, its page, and what
#: names the row.
VIEWS: dict[str, tuple[Any, str, Callable[..., bool], str, str, str, str]] = {
    "tool of a kit": (
        kits_ahead, "make_kit",
        lambda at, machine, now, wanted, *_: any(one.tool_number == 11 for one in wanted),
        "/v1/kits/{run}", KIT, "/shift/kits/{run}", "CROSS-3",
    ),
    "station of a kit": (
        kits_ahead, "_station_now", lambda row, *_: row.tool_number == 11,
        "/v1/kits/{run}", KIT, "/shift/kits/{run}", "T11",
    ),
    "tool in a rack": (
        rack_view, "_label", lambda row: row.holder == "DH-1",
        "/v1/rack", "racks", "/rack", "DH-1",
    ),
    "machine that is heard": (
        show_feeds, "cycle_times", of_machine, "/v1/feeds", "items", "/shift/feeds", "M2",
    ),
    "costs of a spec": (
        tool_costs, "swap_costs", is_drill, "/v1/costs", "items", "", "CROSS-3",
    ),
    "score of a key": (
        score_forecasts, "_score", named(DRILL),
        "/v1/forecast-scores", "items", "/were-we-right/keys", DRILL,
    ),
    "kept forecast": (
        kept_list, "_listed", lambda view, seats, row, *_: row.id == 2,
        "/v1/forecasts-kept", "items", "", "A00002M",
    ),
    "holders of a type": (
        holders_needed, "_need", lambda name, *_: name == "ER16-D",
        "/v1/holder-needs", "items", "/shift/blocked", "ER16-D",
    ),
    "swap point of a key": (
        life_of_key, "swap_costs", is_drill,
        f"/v1/life/{DRILL}", "curve", "", DRILL,
    ),
}  # fmt: skip


def forget_kits(client) -> None:
    """Kits are kept with the plan that they were made from."""
    site = client.application.extensions["crib"]
    site.plans.plan(site.clock()).kits.clear()


def test_one_row_of_each_view_takes_no_other_down(busy, monkeypatch, caplog):
    for what, (module, name, hits, path, member, page, told) in VIEWS.items():
        path, page = path.format(run=busy.run), page.format(run=busy.run)
        forget_kits(busy.client)
        before, nothing = rows(busy.client, path, member)
        assert nothing == [], what
        with monkeypatch.context() as patch:
            fail(patch, module, name, hits)
            forget_kits(busy.client)
            caplog.clear()
            after, problems = rows(busy.client, path, member)
            again = rows(busy.client, path, member)[1]
            shown = text(busy.client, page) if page else problems[0]
            german = text(busy.client, page, "de") if page else ""

        assert after == [row for row in before if told not in row], what
        assert after, what
        (problem,) = again
        assert problems == [problem], what
        assert told in problem, what
        assert problem.endswith("The service log has the details."), what
        faults = [one for one in caplog.records if one.levelno == logging.ERROR]
        assert len(faults) == 1, what
        assert re.search("not be (worked out|judged|evaluated)", shown), what
        if page:
            assert 'id="left-out"' in german, what
            assert "not be worked out" not in german, what


def test_a_forecast_that_cannot_be_judged_is_told_by_its_tool(busy, monkeypatch):
    path = "/v1/forecast-scores?by=shop"
    (before,), _ = rows(busy.client, path)
    drills = busy.client.get("/v1/forecasts-kept").get_json()["items"]
    mine = [one for one in drills if one["station"] == "M1/T11"]
    fail(
        monkeypatch,
        kept_outcomes,
        "_unit",
        lambda view, row, *_: row.life_key == DRILL,
    )

    (after,), problems = rows(busy.client, path)

    assert {one["assembly"] for one in mine} == {why.split()[4] for why in problems}
    kept = [json.loads(one)["forecasts"] for one in (before, after)]
    assert kept == [len(drills), len(drills) - len(mine)]


def test_a_swap_point_that_is_no_number_is_told_by_its_key(busy, monkeypatch):
    made = LifeModel.swap_age
    before = text(busy.client, "/lives")

    def spoilt(self: LifeModel, key: Any, *more: Any) -> Any:
        ages, costs, shares = made(self, key, *more)
        return np.where(np.asarray(key) == row, np.nan, ages), costs, shares

    row = 1
    monkeypatch.setattr(LifeModel, "swap_age", spoilt)

    after = text(busy.client, "/lives")

    assert "not known" not in before
    assert after.count("not known") == 1
    assert after.count("The swap point of") == 1
    assert after.count("<tr>") == before.count("<tr>")
    key = after.split("The swap point of ")[1].split()[0]
    assert "The swap point of" in text(busy.client, f"/lives/{key}")
    told = busy.client.get(f"/v1/life/{key}").get_json()
    assert (told["swap_age"], len(told["curve"])) == (None, 41)
    assert "The swap point" in told["problems"][0]
    other = TURN if key == DRILL else DRILL
    assert busy.client.get(f"/v1/life/{other}").get_json()["problems"] == []


def test_a_key_whose_costs_fail_keeps_its_row(busy, monkeypatch):
    before = text(busy.client, "/lives")
    fail(monkeypatch, key_uses, "swap_costs", is_drill)

    after = text(busy.client, "/lives")

    assert "What edges of tool spec CROSS-3 cost could not be worked out" in after
    assert after.count("<tr>") == before.count("<tr>")


def test_a_key_that_cannot_be_drawn_is_refused_in_words(busy, monkeypatch):
    fail(monkeypatch, key_curve, "survival_band", lambda *_: True)

    page = busy.client.get(f"/lives/{DRILL}")

    assert page.status_code == 409
    assert f"The lives of {DRILL} could not be worked out" in page.text
    assert busy.client.get("/lives").status_code == 200


def test_one_station_that_fails_stands_on_its_machine_with_its_problem(busy, monkeypatch):
    fail(monkeypatch, machine_view, "expected_tool", lambda tx, row, at: row.tool_number == 11)

    machine = text(busy.client, "/machines/M1")
    station = text(
        busy.client, f"/machines/M1/stations/{busy.shop.codes['stations']['M1/T11']}"
    )
    other = text(busy.client, f"/machines/M1/stations/{busy.shop.codes['stations']['M1/T01']}")

    why = "What station T11 needs could not be worked out"
    assert machine.count(why) == 1
    assert machine.count('<span class="name">') == 3
    assert why in station
    assert "Take it out" in station
    assert "could not be worked out" not in other


def test_a_kit_on_paper_names_what_it_is_made_without(busy, monkeypatch):
    module, name, hits = VIEWS["tool of a kit"][:3]
    fail(monkeypatch, module, name, hits)

    answer = busy.client.get(f"/v1/kits/{busy.run}.pdf")

    assert answer.status_code == 200
    pages = [one.get_textpage().get_text_range() for one in pypdfium2.PdfDocument(answer.data)]
    assert "Not worked out (1)" in pages[0]
    assert "Tool number 11 (CROSS-3) could not be worked out for the kit" in pages[0]
    assert "TURN-OD" in pages[0]


def test_a_shift_on_paper_names_what_it_is_made_without(busy, clock, monkeypatch):
    fail(monkeypatch, machine_stops, "_bars", lambda *_: True)
    clock.go_on(seconds=90)

    answer = busy.client.get("/v1/shift-sheet.pdf")

    assert answer.status_code == 200
    pages = [one.get_textpage().get_text_range() for one in pypdfium2.PdfDocument(answer.data)]
    assert "The stops ahead of machine M1 could not be worked out" in pages[0]


def test_one_machine_that_fails_stands_in_the_lists_of_all(busy, monkeypatch):
    monkeypatch.setattr(
        show_feeds,
        "feed_now",
        lambda feed, *_: 1 / 0 if feed.machine == "M2" else feed,
    )
    monkeypatch.setattr(
        machine_view,
        "MachineLine",
        lambda machine, *_: 1 / 0 if machine == "M2" else MACHINE_LINE(machine, *_),
    )

    machines = text(busy.client, "/machines")
    first, second = busy.client.get("/v1/feeds").get_json()["items"]

    assert machines.count("What is due at machine M2 could not be worked out") == 1
    assert machines.count("machine-line") == 1
    assert (first["machine"], first["state"], first["problem"]) == ("M1", "following", None)
    assert (second["machine"], second["state"]) == ("M2", "stopped")
    assert "The data of machine M2 could not be evaluated" in second["problem"]


def test_a_removal_that_cannot_be_worked_out_leaves_the_curve(busy, monkeypatch):
    address = f"/lives/{DRILL}"
    before = text(busy.client, address)
    fail(monkeypatch, key_curve, "_removal", lambda *_: True)

    after = text(busy.client, address)

    assert after.count("<tr>") < before.count("<tr>")
    assert after.count("A removal of tool") == 1
    assert "<svg" in after


def test_a_job_of_the_bench_that_fails_keeps_its_row(busy, monkeypatch):
    before = busy.client.get("/v1/bench-queue").get_json()["items"]
    fail(monkeypatch, bench_card, "_card", lambda tx, swap, _: swap.ordinal == 1)

    after = busy.client.get("/v1/bench-queue").get_json()["items"]

    why = "What to take for TURN-OD could not be worked out"
    found = [(one["recipe_problem"] or "").startswith(why) for one in after]
    assert found == [one["ordinal"] == 1 for one in before]
    assert any(found)
    assert not all(found)
    assert why in text(busy.client, "/bench")


def test_a_waiting_tool_that_fails_is_no_sister_and_told(busy, monkeypatch):
    fail(monkeypatch, shelf_now, "_waiting", lambda view, one, *_: one.holder_id == 4)

    _, problems = rows(busy.client, "/v1/swap-list")
    again = rows(busy.client, "/v1/swap-list")[1]

    assert problems == again
    assert [why for why in problems if "can be a sister" in why] == problems != []


def test_a_gauge_that_fails_does_not_count_and_hides_no_other(busy, monkeypatch):
    made = gauge_state.last_check
    monkeypatch.setattr(gauge_state, "last_check", lambda *_: 1 / 0)

    shown = text(busy.client, "/bench/gauges")

    assert made is not gauge_state.last_check
    assert "It is not known whether gauge PG-1 may be used" in shown
    assert busy.client.get("/bench").status_code == 200


def test_a_machine_that_fails_on_the_shift_page_hides_no_other(busy, monkeypatch):
    fail(monkeypatch, shift_view, "_machine", lambda plan, machine_id, *_: machine_id == 2)

    shown = text(busy.client, "/shift")

    assert "The shift of machine M2 could not be worked out" in shown
    assert "T01" in text(busy.client, "/shift/machines/M1")


def test_a_swap_that_cannot_be_written_stands_on_the_sheet_all_the_same(busy, monkeypatch):
    fail(monkeypatch, print_sheets, "_swap", lambda row, _: row.ordinal == 1)

    answer = busy.client.get("/v1/shift-sheet.pdf")

    assert answer.status_code == 200
    page = pypdfium2.PdfDocument(answer.data)[0].get_textpage().get_text_range()
    assert "What to do could not be worked out" in " ".join(page.split())
    assert "TURN-OD" in page


def test_a_kit_line_that_cannot_be_written_stands_on_the_sheet_all_the_same(busy, monkeypatch):
    fail(monkeypatch, print_sheets, "_line", lambda line, _: line.tool_number == 11)

    answer = busy.client.get(f"/v1/kits/{busy.run}.pdf")

    assert answer.status_code == 200
    page = pypdfium2.PdfDocument(answer.data)[0].get_textpage().get_text_range()
    assert "What to do could not be worked out" in " ".join(page.split())
    assert "CROSS-3" in page
    assert "TURN-OD" in page


def test_an_asset_that_cannot_be_written_leaves_the_others_whole(busy, monkeypatch):
    before = text(busy.client, "/v1/mtconnect/assets")
    first = before.split('assetId="')[1].split('"')[0]
    made = mtconnect_assets.write_asset

    def broken(parent: Any, asset: Any) -> Any:
        made(parent, asset)
        return 1 / 0 if asset.code == first else None

    monkeypatch.setattr(mtconnect_assets, "write_asset", broken)

    after = text(busy.client, "/v1/mtconnect/assets")

    assert after.count("<CuttingTool ") == before.count("<CuttingTool ") - 1 > 0
    assert first not in after


def test_a_tool_that_cannot_be_compared_is_told_beside_other_questions(busy, monkeypatch):
    at = busy.client.get("/v1/forecasts").get_json()["as_of"]
    told = [{"at": at, "tool_number": 1, "tool_asset": "STRANGE"}]
    busy.client.post("/v1/observations", json={"machine": "M1", "observations": told})
    fail(monkeypatch, questions, "_question", lambda *_: True)

    found = busy.client.get("/v1/questions").get_json()

    assert found["items"] == []
    assert "It is not known whether tool number 1 of machine M1" in found["problems"][0]
    assert "It is not known whether tool number 1" in text(busy.client, "/shift/questions")


def test_one_label_that_cannot_be_drawn_leaves_a_cell_that_says_so(busy, monkeypatch):
    codes = [busy.shop.codes["holders"][name] for name in ("TH-1", "DH-1", "TH-2")]
    made = print_labels.render_labels

    def drawn(labels: Any, *more: Any) -> bytes:
        if any(one.code == codes[1] and one.holder != "NOT PRINTED" for one in labels):
            raise ZeroDivisionError
        return made(labels, *more)

    monkeypatch.setattr(print_labels, "render_labels", drawn)

    answer = busy.client.post("/v1/labels.pdf", json={"codes": codes})
    alone = busy.client.get(f"/v1/labels/{codes[1]}.pdf")

    assert answer.status_code == 200
    pages = [one.get_textpage().get_text_range() for one in pypdfium2.PdfDocument(answer.data)]
    assert ["NOT PRINTED" in page for page in pages] == [False, True, False]
    assert "DH-1" in pages[1]
    assert alone.status_code == 409


def test_one_label_that_fails_leaves_a_cell_that_says_so(busy, monkeypatch):
    codes = [busy.shop.codes["holders"]["TH-1"], busy.shop.codes["gauges"]["PG-1"]]
    made = print_texts._LABELS["G"]
    labels = print_texts._LABELS | {"G": lambda *_: 1 / 0}
    monkeypatch.setattr(print_texts, "_LABELS", labels)
    assert made is not labels["G"]

    answer = busy.client.post("/v1/labels.pdf", json={"codes": codes})
    alone = busy.client.get(f"/v1/labels/{codes[1]}.pdf")

    assert answer.status_code == 200
    pages = [
        page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(answer.data)
    ]
    assert "NOT PRINTED" not in pages[0]
    assert "NOT PRINTED" in pages[1]
    assert "PG-1" in pages[1]
    assert codes[1] in pages[1].replace(" ", "")
    assert alone.status_code == 409
    assert "The label of" in alone.get_json()["detail"]


def test_a_record_that_cannot_be_exported_is_named_and_nothing_written(
    store, shop, monkeypatch, tmp_path
):
    hits = lambda column, value: value == "DRILL-3" and column.name == "cutting_item"  # noqa: E731
    fail(monkeypatch, writing, "print_cell", hits)

    with store.read() as tx, pytest.raises(Refusal) as refused:
        export_shop(tx, tmp_path / "out")

    assert refused.value.sentence.startswith("Record 2 of cutting_items.csv (DRILL-3) cannot")
    assert list((tmp_path / "out").iterdir()) == []


def test_own_constants_that_fail_leave_those_in_force(busy, clock, monkeypatch):
    clock.go_on(seconds=1)
    before = rows(busy.client, "/v1/forecasts")[0]
    for name, told in (
        ("estimate_from_own_lives", "Constants of item CNMG-408 on material group M could not"),
        ("lives_by_cut", "Constants could not be estimated from the shop's own edges"),
    ):
        with monkeypatch.context() as patch:
            fail(patch, own_constants, name, lambda *_, **__: True)
            clock.go_on(seconds=90)
            after, problems = rows(busy.client, "/v1/forecasts")
        assert any(why.startswith(told) for why in problems)
        assert all("constants in force are used" in why for why in problems)
        assert len(after) == len(before)
        assert not [row for row in after if "not_worked_out" in row]
