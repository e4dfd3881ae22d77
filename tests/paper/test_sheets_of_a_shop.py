"""The sheets of a whole shop: a page a machine at most, in the shop's language, with places."""

from __future__ import annotations

import re
from collections.abc import Iterator
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pypdfium2
import pytest

from api.print_sheets import Wording, kit_sheet, shift_sheet
from crib.outlook.shop_plan import plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.views.kit_for_run import kit_for_run
from crib.views.night_view import tonight
from crib.views.where_it_lies import places_now
from labels.pdf import render_kit_sheet, render_shift_sheet
from labels.swap_sheet import ShiftSheet
from tests.demos import PRESENT, Demos

#: Words of English that no German sheet has.
ENGLISH = {
    "the", "of", "next", "hours", "made", "page", "done", "swap", "needed", "work", "for",
    "take", "lies", "sister", "state", "spec", "holder", "tool", "Tonight", "Run", "Overdue",
    "edges", "and", "minutes", "Nothing", "Changeover", "kit", "parts", "starts", "run",
}  # fmt: skip


@pytest.fixture(scope="module")
def demo(demos: Demos, tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    store = demos.copy(tmp_path_factory.mktemp("sheets")).store
    with store.read() as tx:
        plan, places = plan_shop(tx, PRESENT), places_now(tx)
    names = sorted(one.machine for one in plan.shop.rows.machines.values())
    yield SimpleNamespace(plan=plan, places=places, machines=names)
    store.close()


def wording(demo: SimpleNamespace, language: str = "en") -> Wording:
    return Wording(language, ZoneInfo("Europe/Berlin"), PRESENT, demo.places)


def sheet_of(demo: SimpleNamespace, said: Wording, machine: str | None = None) -> ShiftSheet:
    found = make_swap_list(demo.plan, 24.0, machine)
    asked = [machine] if machine else demo.machines
    nights = tonight(demo.plan, machine)
    return shift_sheet(found, said, 24.0, nights=nights, machines=asked)


def planned_runs(demo: SimpleNamespace) -> list[int]:
    every = [one for runs in demo.plan.shop.rows.runs.values() for one in runs]
    found = [one.id for one in every if one.state == "planned"]
    assert found
    return found


def pages_of(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    finally:
        document.close()


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_shift_takes_a_page_a_machine_at_most(demo: SimpleNamespace, language: str) -> None:
    said = wording(demo, language)

    for machine in demo.machines:
        sheet = sheet_of(demo, said, machine)
        (page,) = pages_of(render_shift_sheet(sheet, say=said.say))
        title = {"en": "Shift sheet for", "de": "Schichtblatt für"}[language]
        assert page.startswith(f"{title} {machine} ")
        assert page.count("☐") == len(sheet.swaps) + len(sheet.bench) + sum(
            one.swap and not one.listed for one in sheet.nights
        )
    whole = sheet_of(demo, said)
    assert whole.swaps
    assert whole.bench
    pages = pages_of(render_shift_sheet(whole, say=said.say))
    assert len(pages) <= len(demo.machines)
    first = "Heute Nacht" if language == "de" else "Tonight"
    assert pages[0].index(first) < pages[0].index(said.say(whole.swaps[0].machine))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("language", ["en", "de"])
def test_a_changeover_takes_one_page(demo: SimpleNamespace, language: str, paper: str) -> None:
    said = wording(demo, language)

    for run in planned_runs(demo):
        kit = kit_sheet(kit_for_run(demo.plan, run), said)
        (page,) = pages_of(render_kit_sheet(kit, paper, say=said.say))
        lines = (*kit.build, *kit.pull, *kit.keep, *kit.back)
        assert page.count("☐") == len(lines)
        assert page.count(said.say(kit.minutes)) == 1


def test_the_swaps_of_a_night_that_are_listed_say_so(demo: SimpleNamespace) -> None:
    sheet = sheet_of(demo, wording(demo))

    listed = {(one.machine, one.station) for one in sheet.swaps}
    machine = ""
    night_swaps = []
    for one in sheet.nights:
        machine = one.machine or machine
        if one.swap:
            night_swaps.append(one.listed)
            assert one.listed == ((machine, one.what.split()[1].strip(",")) in listed)
    assert night_swaps


def test_a_german_shop_reads_german_sheets(demo: SimpleNamespace) -> None:
    said = wording(demo, "de")

    pages = pages_of(render_shift_sheet(sheet_of(demo, said), say=said.say))
    for run in planned_runs(demo):
        kit = kit_sheet(kit_for_run(demo.plan, run), said)
        pages += pages_of(render_kit_sheet(kit, say=said.say))

    for page in pages:
        assert not ENGLISH & set(re.findall(r"[A-Za-z]+", page))
        assert "Spindel anhalten" in page


def test_each_thing_to_take_has_the_place_where_it_lies(demo: SimpleNamespace) -> None:
    sheet = sheet_of(demo, wording(demo))

    for row in sheet.bench:
        assert row.place
        if not row.assembly:
            assert f"{row.holder}: {demo.places.holders[row.holder]}" in row.place
    for swap in sheet.swaps:
        if swap.sister_state == "ready":
            assert demo.places.tools[swap.sister] in swap.place
