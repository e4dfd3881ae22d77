"""A breakage signal stops the clock of the edge that sits there; it can be taken back."""

from __future__ import annotations

from typing import Any

import pytest

from crib.acts.book_feed import BreakageNews, FeedNews, book_feed
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.acts.signal_breakage import BreakageSignalled, SignalBreakage, signal_breakage
from crib.errors import Conflict, Invalid, NotKnown, NotMounted
from crib.life.observations import BROKEN
from crib.outlook.shop_now import read_shop
from crib.views.show_assembly import show_assembly

BY_NUMBER = {"machine": "M1", "tool_number": 1}


def signal(acts: Any, minutes: float, **where: Any) -> BreakageSignalled:
    command = SignalBreakage("spindle load", at=acts.at(minutes), **(where or BY_NUMBER))
    return signal_breakage(acts.tx, acts.present, command)


def cut(acts: Any) -> str:
    """A tool that went in with the counter at 0; a part a minute for an hour."""
    code = acts.ready()
    acts.mount(code, 2)
    acts.counts(*((2 + minute, minute) for minute in range(61)))
    return str(code)


def parts(acts: Any, code: str) -> int:
    return show_assembly(acts.tx, acts.present, code).wear.parts


def test_parts_after_the_signal_are_not_charged_to_the_edge(acts: Any) -> None:
    code = cut(acts)
    assert parts(acts, code) == 60

    done = signal(acts, 42)

    assert (done.assembly, done.station, done.signal) == (code, "M1/T01", "spindle load")
    assert parts(acts, code) == 40
    (stay,) = read_shop(acts.tx, acts.at(62)).stays
    assert (stay.parts, stay.row.end_us) == (40, None)


def test_a_removal_takes_the_life_up_to_the_signal_as_broken(acts: Any) -> None:
    code = cut(acts)
    signal(acts, 42)

    removed = acts.remove(62, "worn_as_planned")

    assert removed.parts_made == 40
    shop = read_shop(acts.tx, acts.present)
    (stay,) = shop.stays
    assert (stay.parts, shop.ending(stay.row)) == (40, BROKEN)
    assert parts(acts, code) == 40


def test_a_signal_that_is_taken_back_never_was(acts: Any) -> None:
    code = cut(acts)
    done = signal(acts, 42, station="M1/T01")

    said = reverse_fact(acts.tx, acts.present, ReverseFact(done.fact_id or 0))

    assert code in said.sentence
    assert parts(acts, code) == 60
    assert acts.remove(62, "job_change").parts_made == 60


def test_a_tool_whose_edge_is_on_record_as_broken_does_not_stay_built(acts: Any) -> None:
    cut(acts)
    signal(acts, 42)

    with pytest.raises(Conflict, match=r"broken since .* \(spindle load\)"):
        acts.remove(62, "job_change")

    assert acts.remove(62, "broken").cutter_status == "BROKEN"


def test_the_first_signal_of_a_stay_counts(acts: Any) -> None:
    code = cut(acts)
    signal(acts, 42)

    again = signal(acts, 50)
    earlier = signal(acts, 32)

    assert again.fact_id is None
    assert earlier.fact_id is not None
    assert parts(acts, code) == 30


def test_a_signal_of_an_empty_station_is_nobodys(acts: Any) -> None:
    with pytest.raises(NotMounted, match="No tool was on record in M1/T01"):
        signal(acts, 42)
    with pytest.raises(NotKnown, match="no station for tool number 77"):
        signal(acts, 42, machine="M1", tool_number=77)
    with pytest.raises(Invalid, match="Say which edge broke"):
        signal(acts, 42, machine="M1")


def test_a_feed_brings_a_signal_and_tells_where_it_is_nobodys(acts: Any) -> None:
    code = cut(acts)

    def news(number: int, path: str = "path1") -> FeedNews:
        told = BreakageNews(acts.at(42), path, number, "no sound")
        return FeedNews("M1", "mqtt", acts.at(42), breakages=[told])

    assert news(1).tells_something
    book_feed(acts.tx, acts.present, news(1, "channel 7"))  # its only path, whatever its name
    book_feed(acts.tx, acts.present, news(1))
    book_feed(acts.tx, acts.present, news(2))

    assert parts(acts, code) == 40
    assert acts.one("SELECT count(*) FROM breakages") == 1
    assert "No tool was on record in M1/T02" in acts.one("SELECT why FROM breakage_doubts")
