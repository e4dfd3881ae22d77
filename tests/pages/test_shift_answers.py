"""The answers on top of the shift: what the lists say, quiet where nobody has to act."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from flask import render_template_string

from api.pages.shift.page import _due_rows
from crib.records.catalogue import GAUGES, MACHINES
from crib.store.records import insert_record
from crib.views.gauge_state import GaugeDue
from crib.views.shift_summary import (
    ItemDue,
    MachineQuiet,
    NightRefused,
    ShiftSummary,
    SisterNotReady,
    StationDue,
    Tonight,
)
from tests.pages.reading import parsed, read, words

when = datetime.fromisoformat

READY = ("ready", "not_needed")

ASKED = (
    "Tonight",
    "Before leaving",
    "Overdue",
    "Sister tools",
    "Machines",
    "To order",
    "Gauges",
)


def answers(client, address="/shift"):
    """Each answer by its question: the link, and what it says."""
    links = read(client, address).select(".answers a")
    return {words(one.b): (one, words(one.span)) for one in links}


def listed(client, address="/v1/swap-list"):
    return client.get(address).get_json()["items"]


def summary(client):
    answer = client.get("/v1/shift-summary")
    assert answer.status_code == 200, answer.text
    return answer.get_json()


def place(row):
    return f"{row['machine']}/{row['station']}"


def test_each_question_has_one_line_that_leads_to_its_part(client, behind):
    found = answers(client)
    page = read(client, "/shift")

    assert tuple(found) == ASKED
    for link, _ in found.values():
        address, _, part = link["href"].partition("#")
        assert (read(client, address) if address else page).select(f"#{part}" if part else "h1")
    for _, said in found.values():
        assert all(0 < len(one.split()) <= 20 for one in said.split(". ")), said


def test_overdue_swaps_are_those_of_the_list_with_their_names_and_the_time(
    client, behind, clock
):
    due = [one for one in listed(client) if when(one["swap_by"]) <= clock()]
    overdue = [one for one in due if one["overdue_since"]]
    link, said = answers(client)["Overdue"]

    assert link["class"] == ["now"]
    assert len(overdue) == 1
    late = clock() - when(overdue[0]["overdue_since"])
    hours, minutes = divmod(int(late.total_seconds()) // 60, 60)
    assert f"One overdue: {place(overdue[0])} for {hours} h {minutes} min" in said
    assert f"{len(due) - 1} due now" in said.replace("One due", "1 due")
    assert all(place(one) in said for one in due)
    assert place(summary(client)["due"][0]) == place(overdue[0])
    assert len(summary(client)["due"]) == len(due)


def test_no_overdue_swap_is_folded_below_and_each_has_its_parts(client, behind):
    due = [one for one in listed(client) if one["overdue_since"]]
    rows = read(client, "/shift").select("#due > .wide tbody tr")

    for one in due:
        row = next(row for row in rows if words(row.th).startswith(one["station"]))
        assert "overdue for" in words(row)
        assert f"{one['overdue_parts']} parts past" in words(row)


@pytest.mark.parametrize(("due", "shown"), [(0, 4), (5, 5), (8, 8), (9, 8)])
def test_swaps_that_are_due_stand_open_up_to_eight(due, shown):
    swaps = [SimpleNamespace(is_due=lambda _, it=one: it < due) for one in range(20)]

    assert _due_rows(SimpleNamespace(now=NOW, swaps=swaps)) == shown


def test_sisters_that_are_not_ready_are_those_of_the_list(client, behind):
    wanted = [one for one in listed(client) if one["sister"]["state"] not in READY]
    jobs = [one for one in wanted if one["sister"]["state"] != "blocked"]
    late = [one for one in jobs if one["late"]]
    found = summary(client)["sisters"]
    link, said = answers(client)["Sister tools"]

    assert sorted(map(place, found)) == sorted(map(place, wanted))
    assert sum(one["late"] for one in found) == len(late) > 0
    assert link["class"] == ["soon"]
    count = words(read(client, "/bench").select_one(".count"))
    assert f"{len(jobs)} not ready" in said
    assert count.startswith(f"{len(jobs)} jobs, {len(late)} late")
    assert all(place(one) in said for one in wanted)


def test_tonight_says_of_how_many_machines_the_night_is_safe_and_what_to_swap(client, behind):
    nights = client.get("/v1/forecasts").get_json()["nights"]
    found = summary(client)["tonight"]
    said = {name: text for name, (_, text) in answers(client).items()}

    nights = [one for one in nights if one["answer"] != "idle"]
    assert found["machines"] == len(nights) > 0
    assert found["can_run"] == sorted(
        one["machine"] for one in nights if one["answer"] in ("run", "swap")
    )
    assert {one["machine"]: one["run_until"] for one in found["refused"]} == {
        one["machine"]: one["run_until"] if one["answer"] == "until" else None
        for one in nights
        if one["answer"] not in ("run", "swap")
    }
    before = [
        place(one)
        for one in listed(client)
        if not one["standby"] and when(one["swap_by"]) <= when(found["begins_at"])
    ]
    assert sorted(map(place, [*found["swaps"], *found["also_due"]])) == sorted(before)
    due = {place(one): when(one["swap_by"]) for one in (*found["swaps"], *found["also_due"])}
    told = re.findall(r"M\d+/T\d+", said["Before leaving"])
    assert f"Swap {len(before)} tools before" in said["Before leaving"]
    assert set(told) == set(before)
    assert [due[one] for one in told] == sorted(due[one] for one in told)
    if found["refused"]:
        assert found["refused"][0]["machine"] in said["Tonight"]


def test_a_machine_that_is_silent_is_named_with_the_time(client, behind, clock):
    assert answers(client)["Machines"][0]["class"] == ["calm"]
    clock.go_on(minutes=90)
    link, said = answers(client)["Machines"]

    assert link["class"] == ["soon"]
    assert said.replace("! ", "").startswith("M1 silent for 1 h 35 min")
    (quiet,) = (one for one in summary(client)["quiet"] if one["machine"] == "M1")
    assert quiet["state"] == "silent"
    assert clock() - when(quiet["since"]) == timedelta(minutes=95)
    assert "silent for 1 h 35 min" in words(
        read(client, "/shift").select_one(".floor tbody tr")
    )


def test_what_is_to_order_is_what_its_page_lists(client, behind):
    order = client.get("/v1/reorder-list").get_json()["items"]
    link, said = answers(client)["To order"]

    assert sorted(one["cutting_item"] for one in summary(client)["order"]) == sorted(
        one["cutting_item"] for one in order
    )
    assert link["class"] == (["soon"] if order else ["calm"])
    assert all(one["cutting_item"] in said for one in order[:3])


def test_a_gauge_is_due_before_its_check_ends_and_quiet_after_a_check(client, bench, clock):
    assert "Check PG-1 now" in answers(client)["Gauges"][1]  # never checked
    bench.check_gauge()
    link, said = answers(client)["Gauges"]
    assert (link["class"], "PG-1" in said) == (["calm"], False)

    (gauge,) = (one for one in listed(client, "/v1/gauges") if one["gauge"] == "PG-1")
    clock.go_on(hours=float(gauge["check_hours"]), minutes=-30)
    assert "Check PG-1 by" in answers(client)["Gauges"][1]
    clock.go_on(minutes=31)
    assert "Check PG-1 now" in answers(client)["Gauges"][1]
    assert summary(client)["gauges"] == [{"gauge": "PG-1", "until": None, "spare": False}]


def test_every_gauge_that_runs_out_within_the_shift_is_named_before_it_does(
    client, bench, clock, store
):
    with store.write() as tx:
        insert_record(tx, GAUGES, {"gauge": "PG-2"})
    bench.check_gauge()
    (gauge,) = (one for one in listed(client, "/v1/gauges") if one["gauge"] == "PG-1")
    clock.go_on(hours=float(gauge["check_hours"]) - 2)

    first, second = summary(client)["gauges"]
    link, said = answers(client)["Gauges"]

    assert (first["gauge"], first["spare"]) == ("PG-1", False)
    assert when(first["until"]) - clock() == timedelta(hours=2)
    assert second == {"gauge": "PG-2", "until": None, "spare": True}
    assert said.startswith("Check PG-1 by ")
    assert said.endswith(", PG-2 is due for its check")
    assert link["class"] == ["soon"]
    assert [words(one) for one in link.select(".unbroken")] == ["PG-1", "PG-2"]


def test_a_gauge_reads_and_weighs_the_same_on_the_shift_and_at_the_bench(
    client, bench, clock, store
):
    with store.write() as tx:
        insert_record(tx, GAUGES, {"gauge": "PG-2"})
    bench.check_gauge()

    def said():
        link, answer = answers(client)["Gauges"]
        states = read(client, "/bench").select("#gauges .state:not(.good)")
        weights = {"plain": "calm", "care-state": "soon"}
        for state in states:
            assert words(state) in answer
            assert [weights[state["class"][1]]] == link["class"]
        return len(states), answer

    assert said() == (1, "PG-2 is due for its check")  # a spare: nobody has to act
    (gauge,) = (one for one in listed(client, "/v1/gauges") if one["gauge"] == "PG-1")
    clock.go_on(hours=float(gauge["check_hours"]), minutes=-30)
    shown, answer = said()
    assert shown == 2
    assert "Check PG-1 by" in answer
    assert "Check PG-2 now" in answer


def test_a_shop_that_needs_nothing_is_quiet_from_top_to_bottom(client, bench, store):
    bench.check_gauge()
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET state = 'done'")
    page = read(client, "/shift")

    assert {one["class"][0] for one in page.select(".answers a")} == {"calm"}
    assert {one["class"][0] for one in page.select(".floor tbody tr")} == {"needs-nothing"}
    assert not page.select(".floor .state.bad, .floor .state.care-state")


@pytest.fixture
def hundred(client, behind, store):
    """A hundred machines; M1 alone needs somebody."""
    with store.write() as tx:
        for number in range(3, 101):
            row = {"machine": f"M{number}", "calendar": "weekdays"}
            insert_record(tx, MACHINES, row)
    return client


def test_of_a_hundred_machines_those_that_need_somebody_come_first(hundred):
    page = read(hundred, "/shift")
    rows = [words(row.th) for row in page.select(".floor tbody tr")]

    assert len(rows) == 100
    assert rows[0] == "M1"
    shown = page.select("#timeline > .floor tbody tr")
    assert len(shown) == 20
    assert "80 more machines" in words(page.select_one("#more-machines summary"))


def test_a_machine_is_found_by_part_of_its_name_without_a_script(hundred):
    form = read(hundred, "/shift").select_one("form.search")
    assert form.get("method", "get") == "get"
    assert form.select_one("input[name=machine]")["type"] == "search"

    page = read(hundred, f"{form['action']}?hours=48&machine=m9")
    rows = [words(row.th) for row in page.select(".floor tbody tr")]
    assert rows == sorted(["M9", *(f"M9{digit}" for digit in range(10))])
    assert page.select_one("input[name=machine]")["value"] == "m9"
    assert words(page.select_one(".zooms [aria-current]")) == "48 h"
    assert all("machine=m9" in one["href"] for one in page.select(".zooms a"))
    assert "No machine matches" in words(
        read(hundred, "/shift?machine=zz").select_one("#timeline")
    )

    needy = read(hundred, "/shift?need=any").select(".floor tbody tr")
    assert [words(row.th) for row in needy] == ["M1"]


def test_the_answers_stay_the_same_whatever_part_of_the_shop_is_shown(hundred):
    whole = [said for _, said in answers(hundred).values()]

    for address in ("/shift?hours=72", "/shift?machine=M9", "/shift?need=any"):
        assert [said for _, said in answers(hundred, address).values()] == whole


NOW = datetime(2026, 3, 11, 9, 20, tzinfo=UTC)


def of_a_summary(client, **found):
    """What the answers say of a summary in which all else is quiet."""
    quiet = Tonight(0, (), (), (), (), None, None, begun=False)
    none = dict.fromkeys(("due", "sisters", "quiet", "order", "gauges", "problems"), ())
    summary = ShiftSummary(**{"as_of": NOW, "tonight": quiet, **none, **found})
    line = '{% from "shift_answers.html" import answers with context %}{{ answers(found) }}'
    with client.application.test_request_context("/shift"):
        links = parsed(render_template_string(line, found=summary)).select(".answers a")
    return {words(one.b): words(one.span) for one in links}


def sister(station, state, late, lacks=None):
    return SisterNotReady("M1", station, state, NOW, late, lacks)


@pytest.mark.parametrize(
    ("sisters", "said"),
    [
        ([], "All are ready."),
        ([("T01", "build", True)], "One not ready, and late: build M1/T01"),
        (
            [("T01", "blocked", False, "holder"), ("T02", "blocked", False, "edge")],
            "2 cannot be built: no edges for M1/T02, order some;"
            " M1/T01 needs a holder and none is free, take one apart",
        ),
        (
            [("T05", "blocked", False, "edge"), ("T01", "build", False)],
            "One not ready yet, but in time: build M1/T01."
            " One more cannot be built: no edges for M1/T05, order some",
        ),
        ([("T01", "blocked", False)], "One cannot be built: M1/T01, see why"),
        (
            [("T01", "measure", True), ("T02", "build", False), ("T03", "build", False)],
            "3 not ready, one late: measure M1/T01. In time: build M1/T02, M1/T03",
        ),
        ([("T02", "build", False)], "One not ready yet, but in time: build M1/T02"),
        (
            [("T02", "build", False), ("T01", "build", False), ("T02", "build", False)],
            "3 not ready yet, all in time: build 2 × M1/T02, M1/T01",
        ),
    ],
)
def test_of_sisters_it_says_which_are_late_and_what_each_needs(client, sisters, said):
    made = tuple(sister(*one) for one in sisters)

    assert of_a_summary(client, sisters=made)["Sister tools"] == said


def test_each_overdue_swap_stands_with_its_age_and_the_parts_made_since(client):
    def due(many):
        return tuple(
            StationDue(
                "M1", f"T{one}", NOW, NOW - timedelta(hours=30 - one), overdue_parts=parts
            )
            for one, parts in zip(range(many), (1_500, 1, 0, *[7] * many), strict=False)
        )

    one, few, many = (of_a_summary(client, due=due(one))["Overdue"] for one in (1, 3, 9))
    first = "M1/T0 for 30 h (1 500 parts)"
    assert one == f"One overdue: {first}"
    # Where there is no room.
    narrow = "3 overdue, the oldest first: M1/T0 for 30 h, M1/T1, M1/T2"
    assert few == f"{narrow} {first}, M1/T1 for 29 h (one part), M1/T2 for 28 h"
    assert many.endswith("M1/T7 for 23 h (7 parts) and one more".replace("one", "1"))


def test_sisters_are_folded_where_a_window_has_no_room_and_else_all_named(client):
    made = tuple(sister(f"T{one:02}", "build", False) for one in range(9))

    found = of_a_summary(client, sisters=made)["Sister tools"]
    assert "build M1/T00, M1/T01, M1/T02 and 6 more M1/T00" in found
    assert all(f"M1/T{one:02}" in found for one in range(9))


def test_what_waits_for_the_next_job_is_not_overdue(client):
    due = StationDue("M4", "T07", NOW, NOW - timedelta(hours=3))
    page = of_a_summary(client, before_next_job=(due,))

    assert page["Overdue"] == "One before the next job: M4/T07"


def test_a_complete_job_has_no_overdue_swap_and_its_machine_no_alarm(
    client, behind, bench, clock, store
):
    assert answers(client)["Overdue"][0]["class"] == ["now"]
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET quantity = 300 WHERE state = 'running'")

    found, (link, said) = summary(client), answers(client)["Overdue"]
    assert [place(one) for one in found["before_next_job"]] == ["M1/T01"]
    assert "M1/T01" not in map(place, found["due"])
    assert "overdue" not in said.lower()
    assert "One before the next job: M1/T01" in said
    assert link["class"] == (["now"] if found["due"] else ["calm"])
    at = clock.go_on(minutes=80)  # heard, and no part: nothing is left to make
    bench.post("/v1/counts", 202, machine="M1", readings=[{"at": at.isoformat(), "count": 300}])
    assert summary(client)["quiet"] == []
    assert "needs-now" not in read(client, "/machines").select_one(".machine-line")["class"]


@pytest.mark.parametrize("machines", [8, 9])
def test_up_to_eight_machines_are_all_named_tonight(client, machines):
    def night(names, refused):
        cannot = tuple(NightRefused(one, None) for one in refused)
        return Tonight(machines, names, cannot, (), (), NOW, NOW, begun=False)

    able = tuple(f"M{one}" for one in range(1, machines))
    one_stands = of_a_summary(client, tonight=night(able, ("S1",)))["Tonight"]
    all_stand = of_a_summary(client, tonight=night((), (*able, "S1")))["Tonight"]
    last = able[-1]

    assert (last in one_stands, last in all_stand) == (machines == 8, machines == 8)
    assert ("more" in one_stands, "more" in all_stand) == (machines == 9, machines == 9)


@pytest.mark.parametrize(
    ("idle", "said"),
    [
        ({}, ""),
        ({"standing": ("M4",)}, " M4 stands."),
        (
            {"standing": ("M4", "M7"), "no_job": ("M6",)},
            " M4 and M7 stand. M6 has nothing to cut.",
        ),
        (
            {"no_job": tuple(f"N{one}" for one in range(1, 10))},
            " N1, N2, N3, N4, N5, N6 and 3 more have nothing to cut.",
        ),
    ],
)
def test_machines_that_cut_nothing_tonight_are_said_beside_the_others(client, idle, said):
    night = Tonight(
        2, ("M1",), (NightRefused("M2", None),), (), (), NOW, NOW, begun=False, **idle
    )

    found = of_a_summary(client, tonight=night)["Tonight"]
    assert found == f"1 of 2 can run all night: M1. Do not run M2.{said}"


def test_a_machine_that_stands_or_has_no_job_is_told_apart_tonight(
    client, behind, bench, clock, store
):
    def tonight():
        found = summary(client)["tonight"]
        return found["machines"], found["standing"], found["no_job"]

    assert tonight() == (1, [], [])
    at = clock.go_on(minutes=80)
    bench.post("/v1/counts", 202, machine="M1", readings=[{"at": at.isoformat(), "count": 300}])
    assert tonight() == (0, ["M1"], [])
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE runs SET state = 'done'")
    assert tonight() == (0, [], ["M1"])


def test_at_night_it_says_when_somebody_comes_and_what_waits(client, behind, clock):
    assert summary(client)["nobody_before"] is None
    clock.go_on(hours=11)
    found = summary(client)

    assert found["tonight"]["begun"]
    assert found["nobody_before"] == "2026-01-06T05:00:00Z"
    waiting = len(found["due"])
    assert waiting > 1
    said = answers(client)["Before leaving"][1]
    assert said.startswith(f"{waiting} swaps wait for Tue 05:00: ")
    assert all(place(one) in said for one in found["due"])
    german = client.get("/shift", headers={"Accept-Language": "de"}).get_data()
    lines = [words(one) for one in parsed(german).select(".answers a")]
    assert f"{waiting} warten bis Di 05:00: " in lines[2]


def test_at_night_nobody_is_told_to_stop_a_machine(client, behind, clock):
    clock.go_on(hours=11)
    found = summary(client)["tonight"]
    (refused,) = found["refused"]
    link, said = answers(client)["Tonight"]

    assert refused["machine"] == "M1"
    assert link["class"] == ["soon"]
    assert said == "Nobody is there before Tue 05:00. M1 runs past its limit."
    (row,) = read(client, "/shift").select(".floor tbody tr:first-child td.tonight")
    assert words(row) == "past its limit"
    following = summary(client)["next_night"]
    night = client.get("/v1/forecasts").get_json()["later_nights"][0]
    assert following["begins_at"] == night["begins_at"] > found["ends_at"]
    link, coming = answers(client)["Next night"]
    assert link["href"] == "#nights"
    assert re.match(r"(The machine can|.* can run all night)", coming)
    more = {place(one) for one in (*following["swaps"], *following["also_due"])}
    more -= {place(one) for one in summary(client)["due"]}
    waits = answers(client)["Before leaving"][1]
    assert ("more by" in waits) == bool(more)
    clock.go_on(hours=9)  # somebody is there
    assert summary(client)["next_night"] is None
    assert "Next night" not in answers(client)


def test_machines_past_their_limit_are_named_in_one_sentence(client):
    def refused(machine, minutes=None, reason="limit"):
        until = None if minutes is None else NOW + timedelta(minutes=minutes)
        return NightRefused(machine, until, reason)

    def told(able, *cannot):
        night = Tonight(
            len(able) + len(cannot), able, cannot, (), (), NOW, NOW + timedelta(hours=2), True
        )
        morning = NOW + timedelta(hours=2)
        return of_a_summary(client, tonight=night, nobody_before=morning)["Tonight"]

    nobody = "Nobody is there before 11:20."
    assert told((), refused("L2"), refused("L6", 20), refused("L4", -5)) == (
        f"{nobody} L2, L6 from 09:40 and L4 run past their limit."
    )
    assert told(("L1", "L3"), refused("L2")) == (
        f"{nobody} L2 runs past its limit. L1 and L3 stay within their limit."
    )
    assert told(("L1",)) == f"{nobody} L1 stays within its limit."
    assert told((), refused("L2", None, "failed"), refused("L5", None, "not_known")) == (
        f"{nobody} A tool failed in L2. The risk of L5 is not known."
    )


def test_stops_and_refusals_are_each_said_in_one_sentence(client):
    refused = (
        NightRefused("L6", None),
        NightRefused("L2", None),
        NightRefused("L3", NOW + timedelta(hours=18)),
        NightRefused("L5", NOW + timedelta(hours=16)),
    )
    begins = NOW + timedelta(hours=12)
    night = Tonight(4, (), refused, (), (), begins, begins + timedelta(hours=8), begun=False)

    assert of_a_summary(client, tonight=night)["Tonight"] == (
        "None of 4 can run all night. Stop L5 at 01:20, L3 at 03:20. Do not run L6 and L2."
    )


def test_of_many_the_first_are_named_and_the_rest_is_counted(client):
    def names(letter, many):
        return [f"{letter}{one:02}" for one in range(many)]

    due = tuple(StationDue("M1", one, NOW) for one in (*names("T", 31), "T01", "T30"))
    many = of_a_summary(
        client,
        due=due,
        quiet=tuple(MachineQuiet(one, "never_heard", None) for one in names("Q", 8)),
        order=tuple(ItemDue(one, NOW, 1) for one in names("I", 9)),
        gauges=tuple(GaugeDue(one, None, spare=False) for one in names("G", 5)),
    )

    assert many["Overdue"] == "33 due now: M1/T00, 2 × M1/T01, M1/T02 and 29 more"
    assert many["Machines"] == "Q00, Q01, Q02, Q03, Q04, Q05 sent no count yet and 2 more"
    assert many["To order"] == "Now: I00, I01, I02, I03, I04, I05 and 3 more"
    assert many["Gauges"] == "Check G00 now, Check G01 now, Check G02 now and 2 more"


def test_machines_that_are_quiet_alike_are_named_together(client):
    found = (
        MachineQuiet("M1", "silent", NOW - timedelta(hours=2)),
        MachineQuiet("M2", "standing", NOW - timedelta(minutes=50)),
        MachineQuiet("M3", "silent", NOW - timedelta(minutes=40)),
    )

    said = of_a_summary(client, quiet=found)["Machines"]
    assert said == "silent: M1 2 h, M3 40 min ; M2 stands for 50 min"
