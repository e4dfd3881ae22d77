"""Dropped files: each is booked whole or refused whole, and never twice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from crib.clock import now
from crib.feed.folder import DropFolder
from crib.feed.runner import FeedPlan
from crib.feed.writer import Writer
from crib.store.engine import Store
from tests.feed.conftest import PLAN, Booked, running, wait_until

GOOD = (
    "machine,at,count\nM1,2026-03-02T08:00:00Z,10\nM1,2026-03-02T09:00:00+01:00,10\n"
    "M2,2026-03-02T08:00:00Z,5\nM1,2026-03-02T08:10:00Z,12\n"
)


@pytest.fixture
def plan(tmp_path: Path) -> FeedPlan:
    """Looks into ``drop``."""
    (tmp_path / "drop").mkdir()

    async def look(writer: Writer) -> None:
        await DropFolder(tmp_path / "drop", writer, now, whole_s=0.2).run()

    return replace(PLAN, beside=(look,))


def _drop(folder: Path, name: str, text: str | bytes) -> None:
    raw = text if isinstance(text, bytes) else text.encode()
    (folder / "drop" / f"{name}.part").write_bytes(raw)
    (folder / "drop" / f"{name}.part").rename(folder / "drop" / name)


def test_a_dropped_file_is_booked_once_however_often_it_comes(
    store: Store, booked: Booked, plan: FeedPlan, tmp_path: Path
) -> None:
    done = tmp_path / "drop" / "done"
    with running(store, plan):
        _drop(tmp_path, "counts.csv", GOOD)
        wait_until((done / "counts.csv").exists)
        _drop(tmp_path, "counts.csv", GOOD.replace(",", ";"))
        wait_until((done / "counts-2.csv").exists)

    assert booked.counts("M1") == [10, 12]
    assert booked.counts("M2") == [5]
    feed = booked.feed()
    assert feed is not None
    assert feed.source == "folder"


def test_a_file_that_still_grows_is_left_alone(
    store: Store, booked: Booked, plan: FeedPlan, tmp_path: Path
) -> None:
    path = tmp_path / "drop" / "slow.csv"
    with running(store, plan), path.open("w") as stream:
        for line in GOOD.splitlines():
            stream.write(line + "\n")
            stream.flush()
            assert booked.counts() == []
        stream.close()
        wait_until((tmp_path / "drop" / "done" / "slow.csv").exists)

    assert booked.counts() == [10, 12]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("08:10:00Z,12", "08:10:00Z,-12"), "line 5, column count"),
        (("08:10:00Z,12", "08:10:00Z,12,9"), "line 5: 4 cells"),
        (("2026-03-02T08:10:00Z", "2026-03-02 08:10"), "line 5, column at"),
        (("2026-03-02T08:10:00Z", "2199-03-02T08:10:00Z"), "line 5, column at"),
        (("M2,", "M9,"), "line 4, column machine"),
        (("count\n", "parts\n"), "column parts"),
        (("M1,2026-03-02T08:10:00Z,12", '"M1,2026'), "line 5"),
        ((GOOD, ""), "header"),
        (("count\n", "count,run\n"), "line 2: 3 cells"),
    ],
)
def test_a_bad_row_refuses_its_whole_file_by_line_and_column(
    store: Store,
    booked: Booked,
    plan: FeedPlan,
    tmp_path: Path,
    change: tuple[str, str],
    says: str,
) -> None:
    why = tmp_path / "drop" / "refused" / "bad.csv.why.txt"
    with running(store, plan):
        _drop(tmp_path, "bad.csv", GOOD.replace(*change))
        wait_until(lambda: why.exists() and why.read_text().strip())

    assert says in why.read_text()
    assert (tmp_path / "drop" / "refused" / "bad.csv").exists()
    assert booked.counts("M1") == booked.counts("M2") == []


def test_an_unknown_run_refuses_the_file(
    store: Store, booked: Booked, plan: FeedPlan, tmp_path: Path
) -> None:
    why = tmp_path / "drop" / "refused" / "runs.csv.why.txt"
    with running(store, plan):
        _drop(tmp_path, "runs.csv", "machine,at,count,run\nM1,2026-03-02T08:00:00Z,4,NO-SUCH\n")
        wait_until(lambda: why.exists() and why.read_text().strip())
        _drop(tmp_path, "fine.csv", "machine,at,count,run\nM1,2026-03-02T08:00:00Z,4,PIN-8\n")
        wait_until((tmp_path / "drop" / "done" / "fine.csv").exists)

    assert "line 2, column run" in why.read_text()
    assert booked.counts() == [4]
