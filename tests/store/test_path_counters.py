"""Each path of a machine has its counter: an edge is charged by the counts of its own path."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from crib.acts.book_feed import CountNews, FeedNews, book_feed
from crib.acts.book_going_on import book_going_on
from crib.acts.count_columns import CountReading, columns_from_json
from crib.acts.import_shop import import_shop
from crib.acts.report_counts import CountsReported, ReportCounts, report_counts
from crib.acts.tell_counter_set import TellCounterSet, tell_counter_set
from crib.errors import Conflict, Invalid
from crib.feed.documents import Devices, read_document
from crib.feed.folder import BadFile, read_file
from crib.feed.follower import Follower, Place
from crib.feed.problems import NothingToFollow
from crib.feed.topic_map import load_map
from crib.floor.path_counters import path_counters
from crib.outlook.kept_output import KeptOutput
from crib.outlook.shop_now import ShopNow, read_shop
from crib.records.catalogue import MACHINES, OPERATIONS, STATIONS
from crib.store.checking import findings
from crib.store.engine import Store, Tx
from crib.store.records import get_record, list_records, update_record
from crib.views.cycle_times import cycle_times
from crib.views.export_shop import export_shop
from tests.agents import ScriptedAgent
from tests.store.conftest import Acts

FIRST, SECOND = "M1/T01", "M1/T11"


def two_paths(tx: Tx, shop: SimpleNamespace, counters: str | None = "1|2") -> None:
    """The drill of M1 is on path 2; the counters of the machine are as given."""
    change(tx, shop, STATIONS, SECOND, path=2)
    for row in list_records(tx, OPERATIONS):
        if row["tool_number"] == 11:
            update_record(tx, OPERATIONS, row["id"], {"path": 2}, None)
    change(tx, shop, MACHINES, "M1", path_counters=counters)


def change(tx: Tx, shop: SimpleNamespace, record: Any, key: str, **values: Any) -> None:
    number = shop.ids[record.name][key]
    update_record(tx, record, number, values, get_record(tx, record, number)["version"])


def told(acts: Acts, *counts: tuple[float, int, int | None]) -> CountsReported:
    """Counts of M1 as (minute, count, path)."""
    readings = [CountReading(acts.at(at), count, path=path) for at, count, path in counts]
    return report_counts(acts.tx, acts.present, ReportCounts("M1", readings))


def made(view: ShopNow) -> dict[str, int]:
    """Parts of the last stay in each station."""
    return {view.rows.stations[one.row.station_id].station: one.parts for one in view.stays}


@pytest.fixture
def mounted(acts: Acts) -> Acts:
    """A tool on each of two paths since minute 2; each path has its counter."""
    two_paths(acts.tx, acts.shop)
    acts.mount(acts.ready(), station=FIRST)
    acts.mount(acts.ready(holder="DH-1"), station=SECOND)
    return acts


def test_two_paths_charge_only_their_own_edges_also_in_the_past(mounted: Acts) -> None:
    counts = [(2, 500, 1), (2, 7, 2), (62, 540, 1), (62, 17, 2), (122, 550, 1), (122, 57, 2)]

    done = told(mounted, *counts)

    assert (done.accepted, done.resets_seen, done.refused) == (6, 0, ())
    kept = KeptOutput()
    for minute, parts in ((122, (50, 50)), (62, (40, 10)), (2, (0, 0)), (122, (50, 50))):
        for keeps in (None, kept):
            view = read_shop(mounted.tx, mounted.at(minute), keeps)
            assert made(view) == {"T01": parts[0], "T11": parts[1]}
    # a part is finished once: the machine made what its lowest path with a counter says
    machine = mounted.shop.ids["machines"]["M1"]
    output = view.machines[machine].output
    assert output.total_at(output.at_us[-1]) == 50
    removed = mounted.remove(92, station=SECOND)
    assert removed.parts_made == 10 + 20
    assert cycle_times(mounted.tx, mounted.at(122), machine, []).part == "PIN-8"


def test_a_reset_of_one_path_is_none_of_the_other(mounted: Acts) -> None:
    told(mounted, (2, 500, 1), (2, 7, 2), (32, 520, 1), (32, 27, 2))

    done = told(mounted, (62, 4, 1), (62, 37, 2))

    assert (done.resets_seen, done.accepted) == (1, 2)
    assert made(read_shop(mounted.tx, mounted.at(62))) == {"T01": 24, "T11": 30}


def test_each_path_has_its_parts_per_cycle(mounted: Acts) -> None:
    change(mounted.tx, mounted.shop, MACHINES, "M1", path_counters="1|2*4")
    told(mounted, (2, 0, 1), (2, 0, 2))

    done = told(mounted, (3, 8, 1), (3, 8, 2))  # a cycle takes 45 s

    assert [(row.index, row.reason) for row in done.refused] == [(0, "too_fast")]


def test_a_path_whose_counter_stops_is_told_while_the_other_goes_on(mounted: Acts) -> None:
    def said() -> list[str]:
        return [
            one.sentence
            for one in read_shop(mounted.tx, mounted.at(210)).to_put_right
            if one.what == "silent_path"
        ]

    told(mounted, (1, 0, 1), (2, 0, 2), (20, 30, 1), (20, 30, 2))
    assert said() == []
    told(mounted, *((20 + 10 * step, 30 + step, 1) for step in range(1, 20)))

    (why,) = said()

    assert why.startswith("Path 2 of machine M1 has sent no count since 2026-01-05T")
    assert "another path's counter runs on" in why
    told(mounted, (209, 31, 2))
    assert said() == []


def test_a_path_that_never_told_a_count_is_told(mounted: Acts) -> None:
    told(mounted, *((10 * step, step, 1) for step in range(1, 20)))

    found = read_shop(mounted.tx, mounted.at(210)).problems

    assert any(why.startswith("Path 2 of machine M1 has sent no count yet") for why in found)


def test_a_count_that_names_no_path_is_refused_and_kept(mounted: Acts) -> None:
    batch: list[dict[str, Any]] = [
        {"at": f"2026-01-05T08:0{place}:00Z", "count": place} for place in range(3)
    ]
    batch[1]["path"] = "path2"
    batch.append({"at": "x", "count": 1, "path": 1})
    command = ReportCounts("M1", columns_from_json(batch))

    done = report_counts(mounted.tx, mounted.present, command)

    assert done.accepted == 1
    reasons = [(row.index, row.reason) for row in done.refused]
    assert reasons == [(0, "no_path"), (2, "no_path"), (3, "not_an_instant")]
    assert "paths 1, 2" in done.refused[0].sentence
    kept = mounted.tx.exec_driver_sql("SELECT path, reason FROM count_refusals ORDER BY id")
    assert [tuple(row) for row in kept] == [(0, "no_path")] * 2 + [(1, "not_an_instant")]


def test_the_count_told_at_a_station_is_of_its_path(acts: Acts) -> None:
    two_paths(acts.tx, acts.shop)

    acts.mount(acts.ready(holder="DH-1"), station=SECOND, part_count=40)

    rows = acts.tx.exec_driver_sql("SELECT path, count FROM count_readings")
    assert [tuple(row) for row in rows] == [(2, 40)]


def test_counters_given_to_paths_go_on_from_the_counts_of_the_machine(acts: Acts) -> None:
    two_paths(acts.tx, acts.shop, None)
    acts.mount(acts.ready(), station=FIRST)
    acts.mount(acts.ready(holder="DH-1"), station=SECOND)
    told(acts, (2, 100, None), (32, 130, None))
    change(acts.tx, acts.shop, MACHINES, "M1", path_counters="1|2")
    told(acts, (33, 900, 1), (33, 50, 2), (63, 930, 1), (63, 55, 2))

    assert made(read_shop(acts.tx, acts.at(63))) == {"T01": 60, "T11": 35}

    change(acts.tx, acts.shop, MACHINES, "M1", path_counters=None)
    told(acts, (64, 200, None), (74, 210, None))
    parts = {"T01": 70, "T11": 45}
    assert made(read_shop(acts.tx, acts.at(74))) == parts
    assert made(read_shop(acts.tx, acts.at(74), KeptOutput())) == parts
    assert [acts.remove(74, station=one).parts_made for one in (FIRST, SECOND)] == [70, 45]


def test_a_path_without_a_counter_is_charged_by_the_parts_of_the_machine(mounted: Acts) -> None:
    change(mounted.tx, mounted.shop, MACHINES, "M1", path_counters="1")

    told(mounted, (2, 0, 1), (32, 30, 1))

    assert made(read_shop(mounted.tx, mounted.at(32))) == {"T01": 30, "T11": 30}


def test_counts_of_two_paths_are_refused_where_the_machine_has_one_counter(acts: Acts) -> None:
    with pytest.raises(Invalid, match="paths 1, 2"):
        told(acts, (0, 1, 1), (0, 2, 2))
    assert told(acts, (0, 1, 2)).accepted == 1  # of one path: whatever path, it is the counter
    assert acts.tx.exec_driver_sql("SELECT path FROM count_readings").scalars().all() == [0]


def test_feeds_book_the_count_of_each_path_and_never_the_short_way(
    store: Store, shop: SimpleNamespace
) -> None:
    def news(*counts: tuple[int, int, int | None]) -> FeedNews:
        told = [
            CountNews(shop.start + timedelta(minutes=at), str(count), path=path)
            for at, count, path in counts
        ]
        return FeedNews("M1", "mqtt", shop.start, told)

    late = shop.start + timedelta(days=1)
    with store.write() as tx:
        two_paths(tx, shop)
        book_feed(tx, late, news((0, 100, 1), (0, 20, 2)))
        assert book_going_on(tx, late, [news((1, 101, 1))]) == [False]
        done = book_feed(tx, late, news((1, 101, 1), (2, 22, 2), (3, 23, None)))
    assert done is not None
    assert [row.reason for row in done.refused] == ["no_path"]
    with store.read() as tx:
        assert list(findings(tx)) == []
        rows = tx.exec_driver_sql("SELECT path, count, total FROM count_readings ORDER BY 1, 2")
        assert [tuple(row) for row in rows] == [
            (1, 100, 100), (1, 101, 101), (2, 20, 20), (2, 22, 22),
        ]  # fmt: skip


def _follow(counters: str, agent: ScriptedAgent) -> tuple[Follower, Any]:
    place = Place(agent.instance_id, 1)
    follower = Follower("SL01", place, "nothing", counters=path_counters(counters))
    described = read_document(agent.probe())
    assert isinstance(described, Devices)
    follower.take(described)
    return follower, follower.take(read_document(agent.sample(1, 100)))


def test_of_an_agent_the_count_of_each_path_is_followed() -> None:
    # the recorded probe (fixtures/mtconnect) has two part counts, p1pc and p1pcg
    agent = ScriptedAgent()
    for item, count in (("p1pc", "130"), ("p1pcg", "300"), ("p1pc", "131"), ("p1pcg", "302")):
        agent.say(item, count)
    agent.say("p1pcg", "UNAVAILABLE")

    follower, step = _follow("1:parts|2:p1pcg*2", agent)

    counts = [(one.path, one.text, one.source) for one in step.counts]
    assert counts == [
        (1, "130", " sl-01 p1pc"), (2, "300", " sl-01 p1pcg"),
        (1, "131", " sl-01 p1pc"), (2, "302", " sl-01 p1pcg"),
    ]  # fmt: skip
    assert follower.problem is not None
    assert "does not know the part count" in follower.problem


@pytest.mark.parametrize(
    ("counters", "why"),
    [
        ("1|2:p1pcg", "no part count of path 1"),
        ("1:parts|2:p1pc", "for path 1 and for another"),
        ("1:nothing", "no part count 'nothing'"),
    ],
)
def test_counters_that_the_agent_lacks_are_named(counters: str, why: str) -> None:
    with pytest.raises(NothingToFollow, match=why):
        _follow(counters, ScriptedAgent())


@pytest.mark.parametrize(
    "text",
    ["0:a", "100:a", "a:1", "1:", "1:a*0", "1:a*1001", "1:a|1:b", "1:a|2:a", "1|", "|"],
)
def test_what_is_no_list_of_counters_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"counter|twice|per cycle|two paths"):
        path_counters(text)


def test_files_and_messages_name_the_path_of_a_count(tmp_path: Path) -> None:
    dropped = tmp_path / "counts.csv"
    head, at = "machine,at,count,path\n", "2026-03-02T08:00:00Z"
    dropped.write_text(f"{head}M1,{at},10,1\nM1,{at},4,path2\nM1,{at},9,\n")
    rules = tmp_path / "map.toml"
    rules.write_text(
        "[[rule]]\ntopic='a/{machine}/{path}'\n"
        "[[rule]]\ntopic='b/{machine}'\ncount='n'\npath='channel'\n"
    )

    assert [one.count.path for one in read_file(dropped)["M1"]] == [1, 2, None]
    dropped.write_text(f"{head}M1,{at},10,main\n")
    with pytest.raises(BadFile, match="line 2, column path"):
        read_file(dropped)
    mapped, heard = load_map(rules), datetime(2026, 3, 2, 8, tzinfo=UTC)
    for topic, payload in (("a/M1/2", b"7"), ("b/M1", b'{"n": 7, "channel": 2}')):
        message = mapped.read(topic, payload, heard)
        assert [(one.text, one.path) for one in message.counts] == [("7", 2)]


def test_counters_of_paths_survive_their_files(
    store: Store, shop: SimpleNamespace, tmp_path: Path
) -> None:
    text = "2:sub count*2|1:main*1"
    with store.write() as tx:
        change(tx, shop, MACHINES, "M1", path_counters=text)
        export_shop(tx, tmp_path)
    with store.write() as tx:
        change(tx, shop, MACHINES, "M1", path_counters=None)
    import_shop(store, tmp_path)
    with store.read() as tx:
        found = get_record(tx, MACHINES, shop.ids["machines"]["M1"])
    assert found["path_counters"] == text


def test_that_a_counter_is_set_is_told_of_a_path(mounted: Acts) -> None:
    told(mounted, (2, 500, 1), (2, 7, 2))
    setting = TellCounterSet("M1", 900, mounted.shop.codes["people"]["B2"], mounted.at(30))

    with pytest.raises(Conflict, match="paths 1, 2"):
        tell_counter_set(mounted.tx, mounted.present, setting)
    tell_counter_set(mounted.tx, mounted.present, replace(setting, path=2))

    done = told(mounted, (32, 530, 1), (32, 901, 2), (33, 902, 2))
    assert (done.accepted, done.refused) == (3, ())
    assert made(read_shop(mounted.tx, mounted.at(33))) == {
        "T01": 30,
        "T11": 2,
    }  # set to 900, then 901 and 902
