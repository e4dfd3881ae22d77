"""Whether ``crib feed`` lives and can work, and what that makes of the state of each feed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from crib.acts.book_feed import CLOCK_OFF
from crib.clock import print_instant
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.feed_beat import Beat, BeatFile
from crib.store.feeds import FeedRow, list_feeds
from crib.store.heard_rows import heard_machines

#: A process that said nothing for so long is gone or hangs (it beats every 5 s).
GONE_AFTER = timedelta(seconds=30)
#: A machine that was not heard for so long is not followed.
HEARD_WITHIN = timedelta(seconds=60)

RUNNING, FAILING, GONE, ENDED, NEVER = "running", "failing", "gone", "ended", "never_started"
SILENT = "silent"

_NEVER = sentence(
    "'crib feed' is not running: start it, and let the system restart it when it ends."
)


@dataclass(frozen=True, slots=True)
class FeedProcess:
    """The process that follows the machines.

    Attributes:
        state: running, failing (it cannot write), gone (it ended by itself, or hangs), ended
            (it was asked to end) or never_started.
        needed: Whether a machine is there that only it can follow.
        problem: What is wrong and what to do, in a sentence; None where it runs well.
        pid: Its number on its host.
        host: Where it runs.
        started_at: When it began.
        beat_at: When it said last that it lives.
        machine: The one machine that it follows; None for all.
    """

    state: str
    needed: bool
    problem: str | None
    pid: int | None = None
    host: str | None = None
    started_at: datetime | None = None
    beat_at: datetime | None = None
    machine: str | None = None

    @property
    def works(self) -> bool:
        """Whether all is well: it runs and can write, or nobody needs it."""
        return self.state == RUNNING or not self.needed


def feed_process(tx: Tx, present: datetime) -> FeedProcess:
    """How it stands with the process that follows the machines.

    Args:
        tx: An open transaction.
        present: Now.
    """
    file = BeatFile.of(tx)
    beat = None if file is None else file.read()
    needed = any(row.source != "http" for row in list_feeds(tx)) or any(
        one.feed_url for one in heard_machines(tx)
    )
    if beat is None:
        return FeedProcess(NEVER, needed, _NEVER)
    state, problem = _judged(beat, present)
    return FeedProcess(
        state,
        needed,
        problem,
        beat.pid,
        beat.host,
        beat.started_at,
        beat.beat_at,
        beat.machine,
    )


def _judged(beat: Beat, present: datetime) -> tuple[str, str | None]:
    called = sentence("'crib feed' (process {pid} on {host})", pid=beat.pid, host=beat.host)
    last = print_instant(beat.beat_at)
    if beat.ended:
        return ENDED, sentence(
            "{called} was ended at {last}: start it again.", called=called, last=last
        )
    # one from the future is as old: a live process has beaten since the clock was set back
    if abs(present - beat.beat_at) > GONE_AFTER:
        return GONE, (
            sentence(
                "{called} has not reported since {last}: it has stopped or hangs. End it if it "
                "still runs, then start it again.",
                called=called,
                last=last,
            )
        )
    return (RUNNING, None) if beat.problem is None else (FAILING, beat.problem)


def feed_now(feed: FeedRow, process: FeedProcess, present: datetime) -> FeedRow:
    """A feed as it stands now, with what is wrong with the machine's clock.

    Args:
        feed: As it was booked last.
        process: The process that follows the machines.
        present: Now.
    """
    feed = aged(feed, process, present)
    off_s = feed.clock_off_s
    if off_s is None or abs(off_s) <= CLOCK_OFF.total_seconds():
        return feed
    words = _clock_words(feed.machine, off_s)
    # counts from the future are not late by nothing
    return replace(feed, problem=feed.problem or words, lag_s=None if off_s > 0 else feed.lag_s)


def _clock_words(machine: str, off_s: float) -> str:
    minutes = f"{abs(off_s) / 60:.0f}"
    if off_s > 0:
        return sentence(
            "The times that {machine} sends are {minutes} min ahead of ours. Its "
            "counts are held until the clock of the machine, or of its sender, is "
            "set right.",
            machine=machine,
            minutes=minutes,
        )
    return sentence(
        "The times that {machine} sends are {minutes} min old when they come. "
        "Set the machine's clock right, or find what delays its data. "
        "Otherwise parts are charged to the wrong edge.",
        machine=machine,
        minutes=minutes,
    )


def aged(feed: FeedRow, process: FeedProcess, present: datetime) -> FeedRow:
    """A feed as it stands now: what was booked of it last may no longer be so.

    Args:
        feed: As it was booked last.
        process: The process that follows the machines.
        present: Now.
    """
    heard = feed.heard_at
    fresh = heard is not None and abs(present - heard) <= HEARD_WITHIN
    if feed.source == "http":
        return feed if fresh or feed.state != "following" else replace(feed, state=SILENT)
    theirs = process.machine is None or process.machine.lower() == feed.machine.lower()
    if theirs and process.state in (GONE, ENDED):
        return replace(feed, state="stopped", problem=process.problem)
    if theirs and process.state == FAILING:
        return replace(feed, state="waiting", problem=process.problem)
    if not theirs or process.state == NEVER:
        return feed if fresh else replace(feed, state="stopped", problem=_not_by(process))
    if fresh or feed.state != "following":
        return feed
    if feed.source != "mtconnect":  # what brings it is in order, nothing came
        return replace(feed, state=SILENT)
    return replace(feed, state="waiting", problem=feed.problem or _unheard(process))


def _not_by(process: FeedProcess) -> str:
    if process.machine is None:
        return _NEVER
    return sentence(
        "The running 'crib feed' follows only {machine}: start it without "
        "--machine to follow all machines.",
        machine=process.machine,
    )


def _unheard(process: FeedProcess) -> str:
    return sentence(
        "'crib feed' runs (process {pid} on {host}), but has booked nothing for over a minute: "
        "look at its output, then restart it.",
        pid=process.pid,
        host=process.host,
    )
