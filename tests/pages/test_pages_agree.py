"""Every page that speaks of swaps says what the swap list and the bench queue say, no more."""

from __future__ import annotations

import re
from collections import Counter
from datetime import datetime
from zoneinfo import ZoneInfo

import pypdfium2

from api.text_lists import swap_lines
from crib.outlook.plan_cache import PlanCache
from crib.outlook.swap_list import make_swap_list
from crib.records.catalogue import TOOL_SPECS
from crib.store.records import get_record, update_record
from tests.pages.reading import read, words

INSTANT = r"\d{4}-\d\d-\d\dT[\d:.]+Z"


def on_paper(pdf):
    document = pypdfium2.PdfDocument(pdf)
    try:
        return " ".join(
            " ".join(page.get_textpage().get_text_range().split()) for page in document
        )
    finally:
        document.close()


def listed(client, hours=24):
    return client.get(f"/v1/swap-list?hours={hours}").get_json()["items"]


def not_in_time(client, hours):
    """Swaps whose sister comes too late, or is blocked."""
    return [
        one
        for one in listed(client, hours)
        if one["late"] or one["sister"]["state"] == "blocked"
    ]


def test_the_shift_shows_the_rows_of_the_swap_list_in_its_order(client, behind):
    rows = read(client, "/shift").select("#due tbody tr")

    assert [words(row.select_one("th")).split()[0] for row in rows] == [
        one["station"] for one in listed(client)
    ]
    for row, one in zip(rows, listed(client), strict=True):
        assert one["why_sentence"][:20] in words(row)
        assert ("overdue for" in words(row)) == (one["overdue_since"] is not None)
        if one["overdue_since"]:
            assert row.time["datetime"] == one["overdue_since"]


def test_the_first_rows_are_the_empty_station_and_the_overdue_edge(client, behind):
    first, second = listed(client)[:2]

    assert (first["station"], first["why"], first["assembly"]) == ("T11", "station_empty", None)
    assert (second["station"], second["why"]) == ("T01", "past")
    # 300 parts in 4 h of which the edge should have made some 150
    overdue, now = datetime.fromisoformat(second["overdue_since"]), second["swap_by"]
    assert overdue < datetime.fromisoformat(now)
    assert 50 < second["overdue_parts"] < 300


def test_the_night_names_the_swaps_that_the_list_has_before_it(client, behind):
    night = read(client, "/shift").select_one("#nights section")
    answer = client.get("/v1/forecasts").get_json()["nights"][0]
    begins = datetime.fromisoformat(answer["begins_at"])
    before = [
        one["station"]
        for one in listed(client)
        if one["machine"] == answer["machine"]
        and not one["standby"]
        and datetime.fromisoformat(one["swap_by"]) <= begins
    ]

    named = [words(one) for one in night.select(".worklist li a[href*='/stations/']")]

    assert before
    assert sorted(named) == sorted(before)
    assert words(night.select_one(".state")) not in ("run", "no job")


def test_no_green_stands_under_a_night_that_is_not_safe(client, behind):
    page = read(client, "/shift")
    unsafe = page.select("#nights .state.bad")
    late = not_in_time(client, 24)

    assert bool(page.select("#blocks .state.good")) == (not unsafe and not late)
    assert len(page.select("#blocks li")) == len(late)


def test_machine_pages_say_what_the_list_says(client, behind):
    rows = {one["station"]: one for one in listed(client) if one["ordinal"] == 0}

    machine = read(client, "/machines/M1")
    due = [words(one) for one in machine.select("#due li")]
    overview = words(read(client, "/machines").select_one(".machine-line"))
    overdue = words(read(client, "/machines/M1/stations/" + rows["T01"]["station_code"]))
    empty = words(read(client, "/machines/M1/stations/" + rows["T11"]["station_code"]))

    assert [text.split()[0] for text in due] == list(rows)
    assert "empty: mount now" in due[0]
    assert "swap now" in due[1]
    assert "empty: mount now" in overview
    assert rows["T01"]["why_sentence"] in overdue
    assert "overdue since" in overdue
    assert "Swap it now." in overdue
    assert rows["T11"]["why_sentence"] in empty
    assert "Mount one now." in empty


def test_the_bench_page_has_the_jobs_of_the_queue(client, behind):
    queue = client.get("/v1/bench-queue").get_json()
    page = read(client, "/bench")

    jobs = page.select("#queue tbody tr")
    assert len(jobs) == len(queue["items"])
    assert len(page.select(".blocked > li")) == len(queue["blocked"])
    wanted = Counter(
        one["station"]
        for one in listed(client)
        if one["sister"]["state"] in ("build", "measure")
    )
    assert Counter(one["station"] for one in queue["items"]) == wanted


def test_every_page_counts_sisters_by_one_rule(client, behind, store):
    with store.write() as tx:  # T11 has no holder left
        tx.exec_driver_sql("UPDATE holders SET condition = 'repair' WHERE holder LIKE 'DH-%'")
    states = Counter(one["sister"]["state"] for one in listed(client))
    not_ready, blocked = states["build"] + states["measure"], states["blocked"]
    assert not_ready > 1
    assert blocked > 1
    assert max(one["ordinal"] for one in listed(client)) > 0  # successors are counted, too

    summary = client.get("/v1/shift-summary").get_json()["sisters"]
    told = Counter(one["state"] for one in summary)
    assert (told["build"] + told["measure"], told["blocked"]) == (not_ready, blocked)
    assert not any(one["late"] for one in summary if one["state"] == "blocked")
    assert not any(one["late"] for one in listed(client) if one["sister"]["state"] == "blocked")
    machines = words(read(client, "/machines").main)
    for number, what in ((not_ready, "not ready"), (blocked, "blocked")):
        found = re.findall(rf"(\d+) sister tools? {what}", machines)
        assert sum(map(int, found)) == number
    shift = words(read(client, "/shift").select_one(".answers"))
    assert f"{blocked} more cannot be built: " in shift
    assert re.search(rf"\b{not_ready} not ready", shift)
    bench = words(read(client, "/bench").select_one(".count"))
    assert re.fullmatch(rf"{not_ready} jobs, (.*), {blocked} more blocked", bench)
    front = words(read(client, "/").select_one(".answers.roles"))
    assert re.search(rf"{not_ready} jobs, (.*{blocked} more cannot be built)", front)


def test_an_edge_before_its_point_says_the_parts_until_the_swap(client, bench, clock):
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    clock.go_on(minutes=10)
    (row,) = (one for one in listed(client) if one["station"] == "T01" and one["ordinal"] == 0)

    said = words(read(client, "/machines/M1/stations/" + row["station_code"]))

    assert f"about {row['swap_after_parts']} parts until the swap" in said
    assert "parts left" not in said


def test_the_shift_sheet_has_the_rows_of_the_list_and_the_jobs_of_the_queue(client, behind):
    paper = on_paper(client.get("/v1/shift-sheet.pdf?hours=24").get_data())
    queue = client.get("/v1/bench-queue").get_json()["items"]

    rows = listed(client)
    for place, many in Counter((one["machine"], one["station"]) for one in rows).items():
        assert paper.count(" ".join((*place, "T"))) == many
    for sister in (one["sister"] for one in rows):
        assert (sister["assembly"] or sister["holder"] or "blocked") in paper
    overdue = paper.count("Overdue since")
    assert overdue
    assert len(re.findall(r"\bnow M\d", paper)) == overdue  # not the minute of the print
    assert len(re.findall(r"build, \d+ min|measure, \d+ min", paper)) == len(queue)


def test_planned_stops_hold_the_swaps_of_the_list_at_their_times(client, behind):
    stops = client.get("/v1/planned-stops?hours=24").get_json()["items"]

    told = Counter((one["at"], station) for one in stops for station in one["swaps"])
    assert told == Counter(
        (one["swap_by"], one["station"]) for one in listed(client) if not one["standby"]
    )
    assert told


def test_sentences_on_paper_and_in_the_terminal_say_times_of_the_site(
    client, behind, store, shop, clock
):
    with store.write() as tx:
        spec = shop.ids["tool_specs"]["TURN-OD"]
        version = get_record(tx, TOOL_SPECS, spec)["version"]
        update_record(tx, TOOL_SPECS, spec, {"failure_cost": 1}, version)
    said = {one["why_sentence"] for one in listed(client)}
    assert any("sister ready by 2026-01-05T" in one for one in said)  # a program reads UTC

    lines = swap_lines(make_swap_list(PlanCache(store).plan(clock())), ZoneInfo("UTC"))
    printed = "\n".join(lines)
    paper = on_paper(client.get("/v1/shift-sheet.pdf?hours=24").get_data())
    for text in (printed, paper):
        assert "ready by" in text
        assert not re.search(r"\d{4}-\d\d-\d\dT\d\d", text)


def test_no_page_gives_the_present_minute_as_the_time_of_a_swap(client, behind, clock):
    late = not_in_time(client, 168)
    overdue = next(one["overdue_since"] for one in late if one["overdue_since"])
    since = datetime.fromisoformat(overdue).astimezone(ZoneInfo("UTC")).strftime("%H:%M")
    present = clock().strftime("%a %-d %b %H:%M")

    blocked = read(client, "/shift/blocked").select("#swaps li")
    said = [
        *map(words, blocked),
        *map(words, read(client, "/shift").select("#blocks li, #due tr, .floor tr")),
        *map(words, read(client, "/shift/machines/M1").select("tr")),
        *map(words, read(client, "/bench").select(".blocked li")),
        *map(words, read(client, "/shift/blocked").select("#order td")),
        *map(words, read(client, "/machines/M1").select("#due li, .slide li")),
    ]

    assert [one for one in said if present in one] == []
    for shown, one in zip(blocked, late, strict=True):
        assert ("overdue for" in words(shown)) == (one["overdue_since"] is not None)
        assert ("mount now" in words(shown)) == (
            one["why"] == "station_empty" and datetime.fromisoformat(one["swap_by"]) <= clock()
        )
    assert blocked[1].time["title"] == f"Mon 5 Jan {since}"


def test_what_blocks_says_each_reason_once(client, behind):
    late = not_in_time(client, 168)
    assert "bench_time" in {why["what"] for one in late for why in one["sister"]["missing"]}

    for shown, one in zip(
        read(client, "/shift/blocked").select("#swaps li"), late, strict=True
    ):
        reasons = [why["sentence"] for why in one["sister"]["missing"]]
        station, *links = (link["href"] for link in shown.select("a"))
        assert one["station_code"] in station
        assert len(links) == len(set(links)) == len(reasons)
        end = words(shown).split("sister ", 1)[1]
        for sentence in reasons:  # its instants are shown as times of day
            assert all(piece in end for piece in re.split(INSTANT, sentence))
