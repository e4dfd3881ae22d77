"""A machine's clock that goes back leaves its counts in the order of their numbers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.clock import us_from_instant
from crib.feed.documents import Observation, Streams, read_document
from crib.feed.machine_time import MachineTime
from crib.feed.topic_map import load_map
from crib.floor.count import KnownCounts, absorb
from tests.agents import ScriptedAgent

ITEMS = frozenset({"pc"})
CYCLE_S = 20
START = datetime(2026, 10, 24, 20, 0, tzinfo=UTC)
#: Clocks there go back at 03:00 summer time on 2026-10-25 (tz database).
SITE = ZoneInfo("Europe/Oslo")


def said(number: int, at: datetime, *, local: bool = False) -> Observation:
    return Observation("pc", number, at, str(number), "PartCount", local=local)


def charged(observations: list[Observation]) -> int:
    at = [us_from_instant(one.at) for one in observations]
    counts = [int(one.text or 0) for one in observations]
    done = absorb(KnownCounts.none(), at, counts, CYCLE_S)
    assert done.refused == ()
    return int(done.total[-1] - done.total[0])


@st.composite
def _nights(draw: st.DrawFn) -> tuple[list[tuple[datetime, datetime]], list[int]]:
    """When parts were made and when the machine says so; sizes of the answers."""
    at, off = START, timedelta(0)
    made = []
    for _ in range(draw(st.integers(1, 6))):
        for _ in range(draw(st.integers(1, 30))):
            at += timedelta(seconds=CYCLE_S * draw(st.sampled_from([1, 1, 1, 2, 30])))
            made.append((at, at + off))
        step = draw(st.sampled_from([-3600, -7200, -60, -431, 300, -off.total_seconds()]))
        off = min(timedelta(0), off + timedelta(seconds=step))
    sizes, left = [], len(made)
    while left:
        sizes.append(draw(st.integers(1, left)))
        left -= sizes[-1]
    return made, sizes


@settings(deadline=None, max_examples=60)
@given(_nights(), st.sampled_from([1, 400, 40_000]))
def test_parts_are_counted_once_however_often_the_clock_goes_back(
    night: tuple[list[tuple[datetime, datetime]], list[int]], late_s: int
) -> None:
    made, sizes = night
    time, found, begin = MachineTime(), [], 0
    for size in sizes:
        answer = [said(n, made[n][1]) for n in range(begin, begin + size)]
        begin += size
        heard_at = made[begin - 1][0] + timedelta(seconds=late_s)
        # what is kept in the database is enough to go on from
        kept = MachineTime(time.lacks_us, dict(time.booked))
        dated, time = kept.dated(answer, ITEMS, heard_at)
        found += dated

    assert all(one.at < other.at for one, other in pairwise(found))
    assert charged(found) == len(made) - 1
    assert found[-1].at <= heard_at + timedelta(minutes=5, seconds=1)


def test_a_clock_set_back_in_live_reading_is_put_right_by_ours() -> None:
    time, right = MachineTime(), []
    for n in range(200):
        at = START + timedelta(seconds=CYCLE_S * n)
        shown = at if n < 80 else at - timedelta(minutes=37)
        (one,), time = time.dated([said(n, shown)], ITEMS, at + timedelta(seconds=1))
        right.append(abs(one.at - at) <= timedelta(seconds=1))

    assert all(right)
    assert time.problem is not None
    assert "set back by 37 min" in time.problem


@pytest.mark.parametrize("late", [timedelta(seconds=2), timedelta(hours=9)])
def test_the_hour_that_comes_twice_in_autumn_is_told_apart_by_the_numbers(
    late: timedelta,
) -> None:
    true = [START + timedelta(seconds=60 * n) for n in range(8 * 60)]
    walls = [one.astimezone(SITE).replace(tzinfo=UTC) for one in true]
    assert len(set(walls)) == len(walls) - 60
    time, found = MachineTime(zone=SITE), []

    for n in range(0, len(true), 40):
        answer = [said(k, walls[k], local=True) for k in range(n, n + 40)]
        dated, time = time.dated(answer, ITEMS, true[n + 39] + late)
        found += dated

    assert [one.at for one in found] == true
    assert time.problem is not None
    assert "Europe/Oslo time" in time.problem


def test_a_time_without_an_offset_is_noticed_in_an_answer() -> None:
    agent = ScriptedAgent()
    agent.say("p1pc", "130")
    answer = agent.current()

    with_offset = read_document(answer)
    without = read_document(answer.replace(b'Z"', b'"'))

    assert isinstance(with_offset, Streams)
    assert isinstance(without, Streams)
    assert [one.local for one in with_offset.observations] == [False]
    assert [one.local for one in without.observations] == [True]
    assert without.header.created_at is None


def test_a_broker_s_time_without_an_offset_is_the_site_s(tmp_path: Path) -> None:
    rules = tmp_path / "map.toml"
    rules.write_text('[[rule]]\ntopic = "shop/{machine}/parts"\ncount = "n"\nat = "t"\n')
    topics = load_map(rules, SITE)

    def at(text: str, heard_at: datetime) -> datetime:
        message = topics.read("shop/M1/parts", b'{"n": 3, "t": "%s"}' % text.encode(), heard_at)
        assert message.local == (not text.endswith("Z"))
        return message.counts[0].at

    day = datetime(2026, 10, 25, 12, tzinfo=UTC)
    assert at("2026-10-24T22:00:00", day) == START
    assert at("2026-10-24T20:00:00Z", day) == START
    first, second = (datetime(2026, 10, 25, hour, 30, tzinfo=UTC) for hour in (0, 1))
    assert at("2026-10-25T02:30:00", first) == first
    assert at("2026-10-25T02:30:00", second) == second
