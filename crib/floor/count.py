"""Part counts as they come in: late, twice, out of order, after a reset; none is lost.

The accepted readings of one machine, sorted by instant, are cut into counter lives: each
drop of the count begins a new one, and so does every new baseline (``crib.floor.line``), the
step into which makes nothing. ``total`` runs through all lives and never falls. Whatever the
order and the batches in which readings arrive, the result is that of the sorted set.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from crib.arrays import Bools, Ints
from crib.errors import Invalid
from crib.floor.chain import longest_plausible
from crib.floor.counter import RESET, ROLLOVER, Pace, pace_of
from crib.floor.line import AS_COUNTED, BASELINE, SET, Line, carried_on
from crib.floor.refused import RefusedReading, conflicting, impossible, outlier
from crib.sentence import sentence

__all__ = ["Absorbed", "KnownCounts", "RefusedReading", "absorb"]


_NONE: Ints = np.empty(0, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class KnownCounts:
    """Accepted readings of one counter in order of their instants, shape (known,) each.

    They are the readings in the window that a batch touches and one neighbour on each side.
    ``source`` and ``starts`` are those of ``crib.floor.line.Line``; 0 where left out.
    """

    at_us: Ints
    count: Ints
    life: Ints
    total: Ints
    source: Ints = field(default_factory=lambda: _NONE)
    starts: Ints = field(default_factory=lambda: _NONE)

    def __post_init__(self) -> None:
        for name in ("source", "starts"):
            if getattr(self, name).size != self.at_us.size:
                object.__setattr__(self, name, np.zeros(self.at_us.size, dtype=np.int64))

    @classmethod
    def none(cls) -> KnownCounts:
        """Nothing accepted so far."""
        return cls(*(np.empty(0, dtype=np.int64) for _ in range(4)))

    def until(self, at_us: int) -> KnownCounts:
        """Those dated up to an instant [µs]."""
        size = int(np.searchsorted(self.at_us, at_us, side="right"))
        columns = (self.at_us, self.count, self.life, self.total, self.source, self.starts)
        return KnownCounts(*(column[:size] for column in columns))


@dataclass(frozen=True, slots=True, eq=False)
class Absorbed:
    """What a batch adds and changes.

    Args:
        index: Places of the accepted readings in the batch, by instant, shape (accepted,).
        at_us: Their instants [µs since 1970].
        count: Their counts.
        life: Counter life of each.
        total: Running total of each.
        duplicate: Which of the batch were known or repeated, shape (batch,).
        refused: Readings that cannot be true, each with its reason.
        resets_seen: Resets that the batch brought to light.
        rollovers_seen: Rollovers that the batch brought to light.
        known_life: Life of the known readings now, shape (known,).
        known_total: Total of the known readings now, shape (known,).
        known_changed: Which of the known readings differ from before, shape (known,).
        tail_life_shift: To add to the life of every reading after the last known one.
        tail_total_shift: To add to their total.
        source: Counter of each accepted reading; one that names none is of that before it.
        starts: How each accepted reading begins.
        counters_changed: Steps from one counter to another that the batch brought to light.
        pauses_seen: Steps over a long pause that book no parts, found by the batch.
    """

    index: Ints
    at_us: Ints
    count: Ints
    life: Ints
    total: Ints
    duplicate: Bools
    refused: tuple[RefusedReading, ...]
    resets_seen: int
    rollovers_seen: int
    known_life: Ints
    known_total: Ints
    known_changed: Bools
    tail_life_shift: int
    tail_total_shift: int
    source: Ints
    starts: Ints
    counters_changed: int
    pauses_seen: int


def absorb(
    known: KnownCounts,
    at_us: npt.ArrayLike,
    count: npt.ArrayLike,
    fastest_s_per_cycle: npt.ArrayLike | None = None,
    *,
    parts_per_cycle: int = 1,
    believed: bool = False,
    source: npt.ArrayLike = 0,
    starts: npt.ArrayLike = 0,
) -> Absorbed:
    """Take a batch of readings of one machine into what is known.

    Args:
        known: Accepted readings around the batch.
        at_us: Instants [µs since 1970], any order, shape (batch,).
        count: What the counter said, shape (batch,).
        fastest_s_per_cycle: Shortest cycle time that could run between a reading and its
            neighbours [s], scalar or shape (batch,); None or NaN where unknown.
        parts_per_cycle: Parts that one cycle makes; the counter goes up by that many at once.
        believed: Somebody says that the batch is true: its pace is not questioned.
        source: Which counter each reading is of, 0 where unknown, scalar or shape (batch,).
        starts: How each begins (``crib.floor.line``), scalar or shape (batch,).

    Raises:
        Invalid: Arrays of unequal length.
        ValueError: ``known`` is not in strict order.
    """
    when = np.asarray(at_us, dtype=np.int64)
    said = np.asarray(count)
    if when.ndim != 1 or said.shape != when.shape:
        raise Invalid(sentence("Each reading needs one instant and one count."))
    if (np.diff(known.at_us) <= 0).any():
        raise ValueError("known readings are not in strict order")
    cycle = np.nan if fastest_s_per_cycle is None else fastest_s_per_cycle
    if np.ndim(cycle) and np.shape(cycle) != when.shape:
        raise Invalid(sentence("Give one cycle time, or one for each reading."))
    whole, refused = impossible(when, said)
    fresh, duplicate = _fresh(known, when, whole, refused)
    batch = Line(
        when,
        whole,
        np.broadcast_to(np.asarray(source, dtype=np.int64), when.shape),
        np.broadcast_to(np.asarray(starts, dtype=np.int64), when.shape),
        pace_of(cycle, when.size, parts_per_cycle),
    )
    return _merge(known, batch, (fresh, duplicate), refused, believed=believed)


def _fresh(
    known: KnownCounts, when: Ints, count: Ints, refused: list[RefusedReading]
) -> tuple[Ints, Bools]:
    """Places of readings that say something new, by instant; adds conflicts to refused."""
    duplicate = np.zeros(when.size, dtype=np.bool_)
    good = np.ones(when.size, dtype=np.bool_)
    good[[row.index for row in refused]] = False
    order = np.flatnonzero(good)
    if (np.diff(when[order]) <= 0).any():
        order = order[np.lexsort((order, count[order], when[order]))]
        again = (np.diff(when[order]) == 0) & (np.diff(count[order]) == 0)
        duplicate[order[1:][again]] = True
        order = np.concatenate([order[:1], order[1:][~again]])
    if known.at_us.size and order.size:
        place = np.minimum(np.searchsorted(known.at_us, when[order]), known.at_us.size - 1)
        there = known.at_us[place] == when[order]
        same = there & (known.count[place] == count[order])
        duplicate[order[same]] = True
        for i in np.flatnonzero(there & ~same):
            refused.append(
                conflicting(
                    int(order[i]),
                    int(when[order[i]]),
                    int(count[order[i]]),
                    int(known.count[place[i]]),
                )
            )
        order = order[~there]
    return order, duplicate


def _merge(
    known: KnownCounts,
    batch: Line,
    sorted_out: tuple[Ints, Bools],
    refused: list[RefusedReading],
    *,
    believed: bool,
) -> Absorbed:
    fresh, duplicate = sorted_out
    size = known.at_us.size
    # Where a reading comes from: its place among the known, or -1 - its place in fresh.
    line, origin = _in_order(known, batch.take(fresh))
    keep = longest_plausible(line, (origin >= 0) | believed)
    for i in np.flatnonzero(~keep):
        refused.append(outlier(int(fresh[-1 - origin[i]]), int(i), line, keep))
    kept = np.flatnonzero(keep)
    line, origin = line.take(kept), origin[kept]
    said = line.said
    parts, kind, old = _steps_kept(known, line, origin)
    life, total = _accumulate(known, said, origin, parts, kind)
    mine, theirs = origin < 0, origin >= 0
    before = _drops_before(known)
    seen = [
        int((kind == which)[~old].sum()) - int((before == which)[_broken(origin, size)].sum())
        for which in (RESET, ROLLOVER)
    ]
    other = line.source[1:] != line.source[:-1]
    anew = (kind == BASELINE) & ~old
    if (before == BASELINE)[_broken(origin, size)].any():
        anew[:] = False  # it was seen before, between readings further apart
    changed = (life[theirs] != known.life) | (total[theirs] != known.total)
    return Absorbed(
        index=fresh[-1 - origin[mine]],
        at_us=line.at_us[mine],
        count=said[mine],
        life=life[mine],
        total=total[mine],
        duplicate=duplicate,
        refused=tuple(sorted(refused, key=lambda row: row.index)),
        resets_seen=max(0, seen[0]),
        rollovers_seen=max(0, seen[1]),
        known_life=life[theirs],
        known_total=total[theirs],
        known_changed=changed,
        tail_life_shift=int(life[theirs][-1] - known.life[-1]) if size else 0,
        tail_total_shift=int(total[theirs][-1] - known.total[-1]) if size else 0,
        source=line.source[mine],
        starts=line.starts[mine],
        counters_changed=int((anew & other).sum()),
        pauses_seen=int((anew & ~other & (line.starts[1:] == AS_COUNTED)).sum()),
    )


def _in_order(known: KnownCounts, fresh: Line) -> tuple[Line, Ints]:
    """Known and fresh readings as one line, and where each comes from."""
    size, more = known.at_us.size, fresh.at_us.size
    at = np.concatenate([known.at_us, fresh.at_us])
    order = np.argsort(at, kind="stable")
    pace = Pace(
        np.concatenate([np.full(size, np.inf), fresh.pace.cycle_s])[order],
        np.concatenate([np.zeros(size, dtype=np.bool_), fresh.pace.guessed])[order],
        fresh.pace.at_once,
    )
    line = Line(
        at[order],
        np.concatenate([known.count, fresh.said])[order],
        carried_on(np.concatenate([known.source, fresh.source])[order]),
        np.concatenate([known.starts, fresh.starts])[order],
        pace,
    )
    return line, np.concatenate([np.arange(size), -1 - np.arange(more)])[order]


def _steps_kept(
    known: KnownCounts, line: Line, origin: Ints
) -> tuple[Ints, npt.NDArray[np.int8], Bools]:
    """Parts and kind of each step; steps between known neighbours stay as they were."""
    places = np.arange(line.at_us.size)
    step = line.between(places[:-1], places[1:])
    old = (origin[:-1] >= 0) & (origin[1:] >= 0)
    if old.any():
        here = origin[:-1][old]
        step.parts[old] = np.diff(known.total)[here]
        step.kind[old] = _drops_before(known)[here]
    return step.parts, step.kind, old


def _accumulate(
    known: KnownCounts, said: Ints, origin: Ints, parts: Ints, kind: npt.NDArray[np.int8]
) -> tuple[Ints, Ints]:
    """Life and total of each kept reading; the very first total is its own count."""
    if not said.size:
        return said.copy(), said.copy()
    continues = origin[0] >= 0
    first_life = known.life[0] if continues else 0
    first_total = known.total[0] if continues else said[0]
    life = first_life + np.concatenate([[0], np.cumsum(kind > 0)])
    total = first_total + np.concatenate([[0], np.cumsum(parts)])
    return life.astype(np.int64), total.astype(np.int64)


def _drops_before(known: KnownCounts) -> npt.NDArray[np.int8]:
    """Kind of the step between known neighbours, read back from life and total."""
    kind = np.zeros(max(0, known.at_us.size - 1), dtype=np.int8)
    drop = np.diff(known.life) > 0
    made = np.diff(known.total)
    kind[drop] = np.where(made == known.count[1:], RESET, ROLLOVER)[drop]
    nothing = (made == 0) & ((known.count[1:] > 0) | (known.starts[1:] == SET))
    kind[drop & nothing] = BASELINE
    return kind


def _broken(origin: Ints, size: int) -> Bools:
    """Which steps between known neighbours have a new reading in between now."""
    whole = np.zeros(max(0, size - 1), dtype=np.bool_)
    pairs = (origin[:-1] >= 0) & (origin[1:] >= 0)
    whole[origin[:-1][pairs]] = True
    return ~whole
