"""Refusals and sentences, made for real, are German from end to end on a German page."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import product
from math import inf

import pytest

from api.language import say
from api.problems import rows_by_kind
from crib.acts.book_feed import BreakageNews, FeedNews, book_feed
from crib.acts.unclear_breakages import unclear_breakages
from crib.feed.broker_state import no_connection
from crib.floor.cautions import axis_cautions, build_cautions, mount_cautions, removal_cautions
from crib.floor.mount import Expected, Offered, Place, Scanned, mismatches
from crib.planning.night import MachineNight, NightLimit
from crib.planning.night_options import (
    IDLE,
    LOOK,
    RUN,
    STAND,
    SWAP,
    UNTIL,
    Decision,
    Option,
    Swap,
)
from crib.planning.night_words import answer_sentence, reason_sentence, scale_sentence
from crib.planning.stops_ahead import IN_WORDS
from crib.planning.swaps import WHYS, Figures, sentence_of_first, sentence_of_successor
from crib.records.catalogue import BY_NAME
from crib.records.rules import problems_of
from crib.sentence import together
from crib.store.feeds import list_feeds
from crib.store.presets import latest_preset
from crib.store.resolve import resolve
from crib.store.verdict_rows import waiting_for_verdict

NOW = datetime(2026, 5, 4, 8, tzinfo=UTC)

#: Words of English that German has not, and that nearly every English sentence holds.
ENGLISH = re.compile(
    r"\b(the|and|of|is|are|not|it|its|with|from|take|give|there|this|that|to|by|at|on|for"
    r"|has|have|no|or|then|before|after)\b",
    re.IGNORECASE,
)
#: Words that both languages write alike.
ALIKE = re.compile(r"\b(in|Station|Stationen|am|um)\b")


@pytest.fixture
def german(client):
    """Say a sentence on a German page; what somebody typed is left out of the answer."""

    def said(sentence):
        headers = {"Cookie": "crib_shown=de.mm.24"}
        with client.application.test_request_context("/", headers=headers):
            return str(say(sentence))

    return said


def left(text):
    """English words in a German sentence, those in quotes aside."""
    return ENGLISH.findall(ALIKE.sub("", re.sub(r"'[^']*'|\"[^\"]*\"|\S*[/_]\S*", "", text)))


def refused(client, path, **body):
    """What a German reader is told of a refused call: the sentence and those of its fields."""
    answer = client.post(path, json=body, headers={"Accept-Language": "de"})
    told = answer.get_json()
    assert answer.status_code >= 400, answer.text
    return [one["said"] for one in (told, *told.get("errors", ()))]


BUILD = {"tool_spec": "TURN-OD", "holder": "TH-1", "lot": "LOT-I1"}


def test_what_english_words_are_left_is_seen():
    assert left("Die Station holds it.") == ["it"]
    assert left("'the holder' ist hier nicht bekannt") == []


REFUSED = (
        ("/v1/assemblies", {"tool_spec": "TURN-OD", "holder": "TH-99", "lot": "LOT-I1"}),
        ("/v1/assemblies", {"tool_spec": "TURN-OD", "holder": "TH-1", "lot": "LOT-D1"}),
        ("/v1/assemblies", BUILD | {"edge": 9}),
        ("/v1/assemblies", {"holder": "TH-1"}),
        ("/v1/assemblies", {"tool_spec": 5, "holder": "", "lot": "LOT-I1", "more": 1}),
        ("/v1/mounts", {"station": "M1/T01", "assembly": "A00001X"}),
        ("/v1/mounts", {"station": "M9/T01", "assembly": "TH-1"}),
        ("/v1/removals", {"station": "M1/T01", "reason": "worn_as_planned"}),
        ("/v1/removals", {"station": "M1/T01", "reason": "bored"}),
        ("/v1/removals", {"reason": "size"}),
        ("/v1/corrections", {"station": "M1/T01", "axis": "X", "change_mm": "0.01"}),
        ("/v1/counts", {"machine": "M1", "readings": []}),
        ("/v1/gauge-checks", {"gauge": "PG-1", "readings": []}),
        ("/v1/gauge-checks", {"gauge": "PG-1", "readings": [{"lf_mm": 1.5}]}),
        ("/v1/gauge-checks", {"gauge": "PG-1", "readings": [{"lf_mm": "1.23456"}]}),
        ("/v1/stock-moves", {"lot": "LOT-I1", "move": "issue", "quantity": 9999}),
)  # fmt: skip


def test_refusals_are_german_from_end_to_end(client):
    for path, body in REFUSED:
        for said in refused(client, path, **body):
            assert left(said) == [], said


def test_what_the_bench_refuses_is_german(client, bench):
    code = bench.ready()
    again = refused(client, "/v1/assemblies", tool_spec="TURN-OD", holder="TH-1", lot="LOT-I1")
    wild = refused(
        client, f"/v1/assemblies/{code}/presets",
        gauge="PG-1", readings=[{"lf_mm": "80.0"}, {"wf_mm": "16.0"}],
    )  # fmt: skip

    for said in (*again, *wild):
        assert left(said) == [], said
    assert code in again[0]


def test_why_counts_are_kept_aside_is_german(client, store, german):
    at = "2026-01-05T07:00:00Z"
    wrong = (at, 1.5), (at, -1), (at, 10**15), ("2099-01-01T00:00:00Z", 1), ("yesterday", 1)
    readings = [{"at": when, "count": count} for when, count in wrong]
    client.post("/v1/counts", json={"machine": "M1", "readings": readings})
    with store.read() as tx:
        kept = waiting_for_verdict(tx)

    assert len({one.reason for one in kept}) == len(wrong)
    for one in kept:
        said = german(one.sentence)
        assert said != one.sentence
        assert left(said) == [], (one.sentence, said)


def test_what_is_kept_of_a_feed_is_german(client, store, clock, german):
    broken = [BreakageNews(clock(), "path1", 77, "no edge", None)]
    no_answer = no_connection("left:1883", None)
    news = FeedNews("M1", "mqtt", clock(), breakages=broken)
    with store.write() as tx:
        book_feed(tx, clock(), replace(news, state="waiting", problem=no_answer.problem))
        (feed,) = list_feeds(tx)
        (asked,) = unclear_breakages(tx)

    assert "left:1883" in german(feed.problem)
    assert "'no edge'" in german(asked.sentence)
    for sentence in (feed.problem, asked.sentence):
        assert left(german(sentence).replace("left:1883", "")) == [], german(sentence)


def test_why_a_measured_tool_is_not_accepted_is_german(bench, store, german):
    """As it is kept: pages show it long after it was measured."""
    bench.check_gauge()
    code = bench.measure(bench.build()["code"], lf="81.5")["assembly"]
    with store.read() as tx:
        kept = latest_preset(tx, resolve(tx, code).id)

    assert kept is not None
    assert kept.why_not
    for sentence in kept.why_not:
        said = german(sentence)
        assert left(said) == [], (sentence, said)
        assert not re.search(r"\d\.\d", said), said  # a point would part thousands


EXPECTED = Expected("PIN-12", "TURN-R", 2, 4_000, "R", 6_000)
OFFERED = Offered(
    code="A00001N", tool_spec="TURN-R", holder="H-17", holder_interface="12 mm",
    holder_kind="turning", max_rpm=8_000, tip_orientation=2, nose_radius_tenths_um=4_000,
    hand="R", cutter_status="MEASURED", share_used=0.0, preset_accepted=True,
    preset_at=NOW - timedelta(hours=2), void_after=NOW + timedelta(days=7), gauge_valid=True,
    label_current=True,
)  # fmt: skip
PLACE = Place("L1", "T03", "S00003J", "12MM", "turning", 7_000)


LOOK_ALIKES = (
        {"tool_spec": "DRILL-3"}, {"tip_orientation": 3}, {"hand": "L"},
        {"nose_radius_tenths_um": 2_000}, {"preset_accepted": None}, {"preset_accepted": False},
        {"void_after": NOW - timedelta(hours=1)}, {"gauge_valid": False},
        {"label_current": False}, {"cutter_status": "BROKEN"}, {"cutter_status": "EXPIRED"},
        {"cutter_status": "TAGGED_OUT"}, {"holder_interface": "16 mm"}, {"max_rpm": 5_000},
)  # fmt: skip


def test_every_mismatch_at_the_station_is_german(german):
    for changed in LOOK_ALIKES:
        found = mismatches(EXPECTED, replace(OFFERED, **changed), PLACE, None, NOW)

        assert found
        for row in found:
            assert left(german(row.sentence)) == [], (row.sentence, german(row.sentence))


@pytest.mark.parametrize("wanted_at", [(), ("L2/T04",), ("L2/T04", "L2/T05")])
def test_a_tool_in_the_wrong_place_is_told_in_german_where_it_belongs(german, wanted_at):
    expected = replace(EXPECTED, tool_spec="DRILL-3", wanted_at=wanted_at)
    scanned = Scanned("S00001N", "A00002L")

    for row in mismatches(expected, OFFERED, PLACE, scanned, NOW):
        said = german(row.sentence)
        assert left(said) == [], (row.sentence, said)
        assert row.slug != "wrong-station" or all(place in said for place in wanted_at)


def test_why_a_swap_is_when_it_is_is_german(german):
    for why, stop, size_parts, dark in product(
        range(len(WHYS)), range(len(IN_WORDS)), (None, inf, 120.0, 0.0), (False, True)
    ):
        figures = Figures(0.3, 0.75, 0.1, 128.4, 112.0, size_parts, dark=dark, unseen=dark)

        first = sentence_of_first(why, stop, figures)
        later = sentence_of_successor(why, stop, 0.75, 0.6)

        for sentence in (first, later):
            assert left(german(sentence)) == [], (sentence, german(sentence))
            assert "0.75" not in german(sentence)


def test_what_to_do_with_a_night_is_said_in_german(german):
    minute = 60_000_000
    names = {4: "T04", 7: "T07", 9: "T09", 11: "T11"}
    swaps = tuple(Swap(one, 5.0, 0.1) for one in names)
    chosen = (
        Option(RUN, 0.034),
        *(
            Option(kind, 0.051, 210, swaps[:count], 90 * minute)
            for kind in (SWAP, UNTIL)
            for count in (1, 2, 4)
        ),
        Option(SWAP, 0.05, 210, (Swap(4, None, 0.1),)),
        Option(UNTIL, 0.05, 210, (Swap(4, None, 0.1),), 90 * minute),
        Option(UNTIL, 0.05, 210, (), 90 * minute),
        Option(STAND),
    )
    decisions = [
        Decision(one.kind, (Option(RUN, 0.34), *rest, one), missing)
        for one in chosen
        for missing in ((), (4, 7))
        for rest in ((), (Option(SWAP, 0.2, 210, swaps[:2]),))
    ]
    limit = NightLimit(0.065)
    nights = [
        MachineNight(
            "M1", 1, hours * 60 * minute, 0.3, 0.2, 0.1, 0.05, 0.01, (), limit, **more
        )
        for hours in (8, 40)
        for more in (
            {}, {"begun": True}, {"stands": True}, {"jobless": 1}, {"jobless": 12},
            {"unknown": (4,)}, {"unknown": (4, 7, 9, 11)}, {"scale": 0.62}, {"scale": 1.3},
        )
    ]  # fmt: skip
    for night, decision in product(nights, [*decisions, Decision(IDLE), Decision(LOOK)]):
        said = [
            answer_sentence(night, decision, names),
            reason_sentence(night, decision, names),
            scale_sentence(night),
        ]
        for one in filter(None, said):
            assert left(german(one)) == [], (one, german(one))
            assert german(one) != one
            assert not re.search(r"\d\.\d", german(one))


def test_cautions_and_problems_are_german(german):
    cautions = (
        *mount_cautions(axis_cautions(True, "in"), 8_000.0),
        *mount_cautions(axis_cautions(False, "mm")),
        *build_cautions(2.5),
        *build_cautions(None),
        *removal_cautions(),
    )
    rows = rows_by_kind().values()

    for sentence in (*cautions, *(row.title for row in rows), *(row.advice for row in rows)):
        assert german(sentence) != sentence
        assert left(german(sentence)) == [], (sentence, german(sentence))


CONTRADICTED = (
    ("calendar_spans", {"time_zone": "Europe", "start": 1440}),
    ("closures", {"start": "2026-12-24", "end": "2026-12-23", "kind": "open"}),
    ("closures", {"kind": "closed", "attended": True}),
    ("machines", {"bar_length_mm": 3.0, "bar_remnant_mm": 3.0, "path_counters": "x",
                  "feed_url": "http://a:***@b/", "block_template": "$nothing"}),
    ("cutting_items", {"cutting_item": "A|B"}),
    ("tool_life", {}),
    ("runs", {"start_at": NOW, "end_at": NOW - timedelta(hours=1)}),
    ("gauges", {"line_pattern": "no place for a figure"}),
)  # fmt: skip


def test_what_a_record_holds_against_itself_is_german(german):
    for name, values in CONTRADICTED:
        found = problems_of(BY_NAME[name], values)
        assert found
        for one in found:
            said = german(together("; ", (one.reason, one.right)))
            assert left(said.replace("yes oder no", "")) == [], said
    assert sum(len(problems_of(BY_NAME[name], values)) for name, values in CONTRADICTED) >= 12
