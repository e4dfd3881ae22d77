"""One agent followed: what to ask next, what an answer means, what is kept with it.

No request is made here and nothing is written: an answer becomes a :class:`Step`, which holds
what to book and the place to continue from; the caller writes both in one transaction, so
that nothing is counted twice or lost, whenever the process ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from urllib.parse import quote

from crib.acts.book_feed import BreakageNews, CountNews, GapNews, StateNews
from crib.clock import now
from crib.feed.breakages import BreakageSignals, Condition
from crib.feed.choice import Followed, choose_items
from crib.feed.documents import (
    DataItem,
    Devices,
    Document,
    Errors,
    Observation,
    Streams,
)
from crib.feed.machine_time import MachineTime
from crib.feed.problems import AgentRefuses, BadDocument, FeedProblem, StatusAlone
from crib.floor.path_counters import NO_PATH_COUNTERS, PathCounters
from crib.sentence import sentence

#: Observations in one answer.
COUNT = 1000
_FEWEST = 10


class Ask(StrEnum):
    """A request to an agent."""

    PROBE = "probe"
    CURRENT = "current"
    SAMPLE = "sample"


@dataclass(frozen=True, slots=True)
class Place:
    """How far an agent was read: the run of the agent, and the next observation."""

    instance_id: int
    next_sequence: int


@dataclass(frozen=True, slots=True)
class Step:
    """What one answer came to.

    Attributes:
        counts: Part counts in the order of the agent; unknown ones left out.
        states: Execution, program and tool states in that order.
        breakages: Signals of a broken tool.
        conditions: What is active by then, item and native code; None where not read.
        place: Where to continue; None where the agent has to be asked from the beginning.
        gap: What was missed, found out just now.
        skipped: Observations that could not be read.
        at_end: Whether nothing newer was there to be asked for.
        time: What is known of the machine's clock after it.
    """

    counts: tuple[CountNews, ...] = ()
    states: tuple[StateNews, ...] = ()
    breakages: tuple[BreakageNews, ...] = ()
    conditions: frozenset[Condition] | None = None
    place: Place | None = None
    gap: GapNews | None = None
    skipped: int = 0
    at_end: bool = True
    time: MachineTime | None = None


class Follower:
    """Follows one machine at one agent.

    Args:
        machine: Name of the machine here.
        place: Where it was read to, as kept; None at the first time.
        wanted: Id or name of the part count to follow; None for the best one.
        signals: What tells a breakage; None for nothing.
        where: Host and port of the agent.
        time: What is known of the machine's clock.
        counters: The counters of its paths, each followed for its path; none for one count.
    """

    def __init__(
        self,
        machine: str,
        place: Place | None,
        wanted: str | None = None,
        signals: BreakageSignals | None = None,
        where: str = "",
        time: MachineTime | None = None,
        counters: PathCounters = NO_PATH_COUNTERS,
    ) -> None:
        self._machine, self._where = machine, where
        self._time = time or MachineTime()
        self._wanted, self._counters = wanted, counters
        self._signals = signals or BreakageSignals(None)
        self._place = place
        self._pending: GapNews | None = None
        self._followed: Followed | None = None
        self._items: dict[str, DataItem] = {}
        self._by_path, self._path_is_sure, self._failures = True, False, 0
        self._was_at_end = False
        self._unknown: set[str] = set()
        self._count = COUNT
        self._model_as_of: set[str | None] = set()
        self._needs_current = place is None

    @property
    def followed(self) -> Followed | None:
        """The data items, once the agent was asked for them."""
        return self._followed

    @property
    def problem(self) -> str | None:
        """What a person has to look at, though all is read; None where nothing."""
        if self._unknown:
            return sentence(
                "The agent does not know the part count: see whether the machine is "
                "on and connected to it."
            )
        return self._time.problem

    @property
    def ask(self) -> Ask:
        """What to ask next."""
        if self._followed is None:
            return Ask.PROBE
        return Ask.CURRENT if self._needs_current or self._place is None else Ask.SAMPLE

    def request(self, stream_ms: int | None = None) -> str:
        """Path and query of the next request, behind the machine's feed_url.

        Args:
            stream_ms: Ask for a stream with at most this pause [ms]; None for one answer.
        """
        ask = self.ask
        if ask is Ask.PROBE:
            return "/probe"
        query = []
        if ask is Ask.SAMPLE and self._place is not None:
            query += [f"from={self._place.next_sequence}", f"count={self._count}"]
            if stream_ms is not None:
                query += [f"interval={stream_ms}", "heartbeat=10000"]
        if self._by_path:
            written = dict.fromkeys(item.written for item in self._items.values())
            kinds = [f'@type="{kind}"' for kind in written]
            if self._signals.wanted:
                kinds.append('@category="CONDITION"')
            query.append("path=" + quote(f"//DataItem[{' or '.join(kinds)}]", safe="/@[]"))
        return f"/{ask}" + ("?" + "&".join(query) if query else "")

    def take(self, answer: Document, heard_at: datetime | None = None) -> Step:
        """What an answer to :meth:`request` comes to.

        Args:
            answer: The answer.
            heard_at: When it came; None for now.

        The follower is ready for its next request at once; the step's place only has to be
        kept by the caller.

        Raises:
            NothingToFollow: The agent has no such machine, or the machine no part count.
            AgentRefuses: It refuses what there is no way around.
            BadDocument: The answer belongs to no such request.
        """
        if isinstance(answer, Errors):
            return self._refused(answer)
        if isinstance(answer, Devices):
            return self._described(answer)
        if self._followed is None:
            raise BadDocument(sentence("The agent answered a probe with a stream."))
        return self._streamed(answer, heard_at or now())

    def failed(self, problem: FeedProblem) -> bool:
        """A question was not answered as it should be; whether to ask in another way at once.

        Some agents give up over a path that they cannot read, without saying so.
        """
        if self.ask is Ask.PROBE or self._path_is_sure:
            return False
        self._failures += 1
        answered = isinstance(problem, (AgentRefuses, BadDocument, StatusAlone))
        if answered or self._failures % 2 == 0:  # else it may be any trouble of the network
            self._by_path = not self._by_path
        return answered and self._failures == 1

    def _described(self, found: Devices) -> Step:
        self._followed = choose_items(found, self._machine, self._wanted, self._counters)
        self._items = self._followed.by_id()
        self._unknown &= self._count_ids
        self._model_as_of.add(found.header.model_changed)
        if found.header.buffer_size:  # none gives more than it holds
            self._count = max(1, min(self._count, found.header.buffer_size - 1))
        restarted = (
            self._place is not None
            and found.header.instance_id is not None
            and found.header.instance_id != self._place.instance_id
        )
        if restarted:
            self._miss("restarted")
        return Step(place=self._place, at_end=False)

    def _streamed(self, found: Streams, heard_at: datetime) -> Step:
        header = found.header
        instance = header.instance_id if header.instance_id is not None else 0
        if self._place is not None and instance != self._place.instance_id:
            # its sequences have nothing to do with ours: the answer to an old `from` is skipped
            if self.ask is Ask.SAMPLE:
                self._miss("restarted")
                self._followed = None
                return Step(at_end=False)
            self._pending = self._pending or GapNews(
                "restarted", self._place.next_sequence, None
            )
        was_sample = self._place is not None and not self._needs_current
        if not was_sample and self._by_path and not self._tells_count(found):
            self._by_path = False  # it read the path in a way of its own: read all, keep ours
            return Step(place=self._place, at_end=False)
        self._path_is_sure = True
        following = self._following(found)
        self._notice_overrun(header.first_sequence, was_sample=was_sample)
        if self._only_refused(header.first_sequence, following) and self._place is not None:
            self._pending, following = None, self._place.next_sequence
        gap, self._pending = self._closed(self._pending, following, was_sample), None
        observations = self._dated(found, instance, heard_at)
        self._place, self._needs_current = Place(instance, following), False
        last = header.last_sequence
        self._was_at_end = last is None or following > last
        counts, states = self._sorted_out(observations)
        breakages = self._broken(observations, is_current=not was_sample)
        if self._model_changed(found):
            self._followed = None  # other items may mean the same now: ask again
        return Step(
            counts,
            states,
            breakages,
            self._signals.active if self._signals.wanted else None,
            self._place,
            gap,
            found.skipped,
            at_end=self._was_at_end,
            time=self._time,
        )

    def _dated(
        self, found: Streams, instance: int, heard_at: datetime
    ) -> tuple[Observation, ...]:
        """The observations, each when it came to be; counts that were booked are left out."""
        known = self._place
        again = known is not None and instance == known.instance_id
        begin = known.next_sequence if known is not None and again else 0
        old = [one for one in found.observations if one.sequence < begin]
        new = [one for one in found.observations if one.sequence >= begin]
        unknown = [one for one in new if one.text is None]
        told = [one for one in new if one.text is not None]
        dated, self._time = self._time.dated(told, frozenset(self._items), heard_at)
        booked = self._time.booked
        kept = [one for one in old if not self._counts(one) or one.item_id not in booked]
        return tuple(sorted((*kept, *unknown, *dated), key=lambda one: one.sequence))

    @property
    def _count_ids(self) -> frozenset[str]:
        counts = () if self._followed is None else self._followed.counts
        return frozenset(item.item_id for item in counts)

    def _counts(self, one: Observation) -> bool:
        return one.item_id in self._count_ids

    def _notice_overrun(self, first: int | None, *, was_sample: bool) -> None:
        """Some agents answer an old ``from`` with what they still hold, without a word."""
        if not was_sample or self._place is None or first is None or self._pending is not None:
            return
        if first > self._place.next_sequence:
            self._pending = GapNews("overrun", self._place.next_sequence, first)

    def _only_refused(self, first: int | None, following: int) -> bool:
        """Whether an agent refused to be asked for what is still to come, and lost nothing."""
        pending = self._pending
        if pending is None or pending.reason != "overrun" or not self._was_at_end:
            return False
        begin = pending.from_sequence
        return first is not None and begin is not None and first <= begin <= following

    def _tells_count(self, found: Streams) -> bool:
        """Whether each count is there, unknown or not: every agent tells it in ``current``."""
        return self._count_ids <= {one.item_id for one in found.observations}

    def _model_changed(self, found: Streams) -> bool:
        known, said = self._model_as_of, found.header.model_changed
        if said is None or None in known or said in known:
            return False
        known.add(said)  # some write it in another way in other answers: asked for it once
        return True

    def _following(self, found: Streams) -> int:
        if found.header.next_sequence is not None:
            return found.header.next_sequence
        if found.observations:
            return found.observations[-1].sequence + 1
        return self._place.next_sequence if self._place else 1

    @staticmethod
    def _closed(gap: GapNews | None, following: int, was_sample: bool) -> GapNews | None:
        if gap is None or was_sample:
            return gap
        return replace(gap, until_sequence=following) if gap.reason == "overrun" else gap

    def _sorted_out(
        self, observations: tuple[Observation, ...]
    ) -> tuple[tuple[CountNews, ...], tuple[StateNews, ...]]:
        counts, states = [], []
        for one in observations:
            item = self._items.get(one.item_id)
            if item is None:
                continue
            if self._followed is not None and self._counts(one):
                if one.text is None:
                    self._unknown.add(one.item_id)
                    continue
                self._unknown.discard(one.item_id)
                path = self._followed.path_of(one.item_id)
                counts.append(CountNews(one.at, one.text, source=self._source(one), path=path))
                continue
            states.append(StateNews(one.at, item.kind, item.path, one.text))
        return tuple(counts), tuple(states)

    def _source(self, one: Observation) -> str:
        """The counter: its agent, its device and its item there."""
        device = self._followed.uuid if self._followed else ""
        return " ".join((self._where, device, one.item_id))

    def _broken(
        self, observations: tuple[Observation, ...], *, is_current: bool
    ) -> tuple[BreakageNews, ...]:
        followed = self._followed
        if followed is None:
            return ()
        return tuple(self._signals.among(observations, followed, is_current=is_current))

    def _refused(self, found: Errors) -> Step:
        ask = self.ask
        if ask is Ask.SAMPLE and found.says("OUT_OF_RANGE") and not _is_about_count(found):
            self._after_out_of_range(found)
            return Step(at_end=False)
        if self._by_path and ask is not Ask.PROBE and _blames_path(found):
            self._by_path = False  # some agents know no such path: read all, keep ours
            return Step(place=self._place, at_end=False)
        if ask is Ask.SAMPLE and self._count > _FEWEST and _blames_count(found):
            self._count = max(_FEWEST, self._count // 4)
            return Step(place=self._place, at_end=False)
        words = "; ".join(f"{one.code} {one.text}".strip() for one in found.errors)
        wordless = sentence("without a reason")
        raise AgentRefuses(
            sentence(
                "The agent refuses /{ask}: {words}.",
                ask=ask,
                words=words[:300] or wordless,
            )
        )

    def _after_out_of_range(self, found: Errors) -> None:
        instance = found.header.instance_id
        kept = self._place
        other = instance is not None and kept is not None and instance != kept.instance_id
        self._miss("restarted" if other else "overrun")
        if other:
            self._followed = None

    def _miss(self, reason: str) -> None:
        if self._place is not None:
            self._pending = GapNews(reason, self._place.next_sequence, None)
        self._needs_current = True


def _blames_path(found: Errors) -> bool:
    codes = ("INVALID_XPATH", "INVALID_PATH", "UNSUPPORTED", "QUERY_ERROR")
    return any(found.says(code) for code in codes)


def _is_about_count(found: Errors) -> bool:
    return any("'count'" in one.text and "'from'" not in one.text for one in found.errors)


def _blames_count(found: Errors) -> bool:
    return found.says("OUT_OF_RANGE") or found.says("INVALID_REQUEST") or found.says("TOO_MANY")
