"""What a simulated shop writes down of its edges: counts, boxes, nights, lands, corrections.

The records hold what a shop can know and its usual errors; the truth behind them stays in
``tests.bench.forecast.truth``.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Floats, Ints
from tests.bench.forecast.truth import Edges, draw_edges
from tests.bench.forecast.worlds import BOX, CORRECTED_FROM, LANDS, STOPS, ShopKeys, World

CENSORED, WORN, BROKEN = 0, 1, 2
NOTHING_SEEN, LAND_SEEN, SIZE_SEEN = 0, 1, 2

#: Part checks per usual life.
_CHECKS: Final = 40


@dataclass(frozen=True, slots=True)
class Records:
    """Lives as the shop wrote them down, arrays of shape (lives,).

    Attributes:
        key: Row of the keys.
        order: 0 for a key's first life, 1 for the next ...
        wear: Reckoned wear units when it came out.
        parts: Parts counted.
        ended: ``CENSORED``, ``WORN`` or ``BROKEN``.
        lot: Label of the box.
        since: Wear units at which it was last known good; NaN: ``wear`` is exact.
        seen_share: Share of the wear limit seen last; NaN: nothing seen.
        seen_at: Wear units at which that was; NaN: nothing seen.
        seen_kind: ``NOTHING_SEEN``, ``LAND_SEEN`` or ``SIZE_SEEN``.
    """

    key: Ints
    order: Ints
    wear: Floats
    parts: Floats
    ended: Ints
    lot: Ints
    since: Floats
    seen_share: Floats
    seen_at: Floats
    seen_kind: Ints

    def __len__(self) -> int:
        return len(self.key)

    def take(self, rows: NDArray[np.bool_] | Ints) -> Records:
        """Some of the rows."""
        return Records(*(getattr(self, f.name)[rows] for f in fields(self)))

    def then(self, more: Records) -> Records:
        """These rows, and more of them after."""
        columns = ((getattr(self, f.name), getattr(more, f.name)) for f in fields(self))
        return Records(*(np.concatenate(pair) for pair in columns))


@dataclass(frozen=True, slots=True)
class Corrections:
    """The last size correction of edges so far and one in the middle, shape (edges,).

    Attributes:
        grown: Sum of the corrections over the growth at the wear limit.
        at_share: Share of the use so far at which the last one was made; NaN: none yet.
        middle: Sum by the last correction that left it under two thirds.
        middle_at: Share of the use so far at which that was; NaN: none.
    """

    grown: Floats
    at_share: Floats
    middle: Floats
    middle_at: Floats


def corrections(
    edges: Edges, used: Floats, noise: float, rng: np.random.Generator
) -> Corrections:
    """Follow edges by part checks up to true wear ``used``.

    A correction is made when a measured part is off by more than a step, by what was measured:
    so it is set off by peaks of the noise and reads a little high.
    """
    grown = np.zeros(len(used))
    at = np.full(len(used), np.nan)
    middle, middle_at = at.copy(), at.copy()
    checks = np.clip(np.ceil(_CHECKS * used / edges.stands), 4, _CHECKS * 2)
    for check in range(1, int(checks.max(initial=0)) + 1):
        share = np.minimum(check / checks, 1.0)
        off = edges.land(used * share) - grown + noise * rng.standard_normal(len(used))
        made = (check <= checks) & (off > CORRECTED_FROM)
        grown += np.where(made, off, 0.0)
        at = np.where(made, share, at)
        early = made & (grown < 2 / 3)
        middle = np.where(early, grown, middle)
        middle_at = np.where(early, share, middle_at)
    return Corrections(grown, at, middle, middle_at)


def keep_records(
    world: World, keys: ShopKeys, lives: int, counts: Floats, seed: int
) -> tuple[Records, Floats]:
    """So many lives of every key under the shop's own habits, and the effect of each box.

    Args:
        world: The world.
        keys: Its keys.
        lives: Lives per key.
        counts: Wear units at which a count would swap each key's edges, shape (keys,).
        seed: Any number.
    """
    rng = np.random.default_rng([seed, 2])
    key = np.repeat(np.arange(len(keys)), lives)
    order = np.tile(np.arange(lives), len(keys))
    lot = _boxes(keys, key, order)
    effect = world.lot_sd * rng.standard_normal(int(lot.max(initial=0)) + 1)
    edges = draw_edges(keys.truth, key, effect[lot], rng)
    pace, wear_per_part = _mixed_jobs(world, keys, key, rng)
    first = _one_turn(world, keys, edges, pace, wear_per_part, counts, rng)
    silent = rng.random(len(key)) < world.unlogged
    # Somebody turned the edge without telling: the first turn runs on into the next one.
    before = draw_edges(keys.truth, key, effect[lot], rng)
    earlier = _one_turn(world, keys, before, pace, wear_per_part, counts, rng)
    extra = np.where(silent, earlier.wear, 0.0)
    wear = first.wear + extra
    share, at, kind = _seen_at_the_end(world, keys, edges, first, pace, rng)
    ended = np.where(
        (first.ended == CENSORED) & (kind == LAND_SEEN) & (share >= 1), WORN, first.ended
    )
    kept = Records(
        key, order, wear, np.maximum(np.rint(wear / wear_per_part), 1.0), ended, lot,
        first.since + extra, share, at + extra, kind,
    )  # fmt: skip
    # In the order in which they ended, as far as a shop would have it: each key's first, …
    return kept.take(np.argsort(order, kind="stable")), effect


@dataclass(frozen=True, slots=True)
class _Turn:
    wear: Floats
    ended: Ints
    since: Floats


def _boxes(keys: ShopKeys, key: Ints, order: Ints) -> Ints:
    """Edges of an item come out of its boxes in turn, whatever key they go to."""
    sharers = np.bincount(keys.item)
    place = np.zeros(len(keys), dtype=np.int64)
    for item in range(len(sharers)):
        rows = np.flatnonzero(keys.item == item)
        place[rows] = np.arange(len(rows))
    number = order * sharers[keys.item[key]] + place[key]
    code = keys.item[key] * 100_000 + number // BOX
    return np.unique(code, return_inverse=True)[1].reshape(-1)


def _mixed_jobs(
    world: World, keys: ShopKeys, key: Ints, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """True wear per reckoned wear of each life, and its mean wear per part."""
    jobs = keys.truth.job_wear.shape[1]
    if jobs == 1:
        return np.ones(len(key)), keys.truth.job_wear[key, 0]
    # Most lives pass through one or two jobs.
    share = rng.dirichlet(np.full(jobs, 0.5), len(key))
    pace = np.sum(share * keys.truth.job_factor[key], axis=1)
    parts = np.sum(share / keys.truth.job_wear[key], axis=1)
    return pace, 1 / parts


def _one_turn(
    world: World,
    keys: ShopKeys,
    edges: Edges,
    pace: Floats,
    wear_per_part: Floats,
    counts: Floats,
    rng: np.random.Generator,
) -> _Turn:
    """One edge from mount to removal, in reckoned wear."""
    key, size = edges.key, len(edges.key)
    worn_at = edges.stands / pace
    chip_at = edges.chips_after * wear_per_part
    fails = np.minimum(worn_at, chip_at)
    life = keys.truth.life[key]
    count = counts[key] * keys.habit[key] * np.exp(0.08 * rng.standard_normal(size))
    planned = np.where(keys.by_count[key], count, np.inf)
    thrown = np.where(
        rng.random(size) < world.job_change, rng.uniform(0.1, 1.0, size) * life, np.inf
    )
    # A day of attended and unattended hours takes this many wear units.
    day = life * rng.uniform(0.15, 0.6, len(keys))[key]
    dark = day * world.night
    phase = rng.random(size) * (day - dark)
    planned = np.minimum(planned, thrown)
    into = np.where(np.isfinite(planned), planned, 0.0) + phase
    over = np.mod(into, day) - (day - dark)
    before = planned - over
    planned = np.where((over > 0) & (before > 0), before, planned)
    out = np.minimum(fails, planned)
    failed = fails < planned
    over = np.mod(out + phase, day) - (day - dark)
    at_night = failed & (over > 0)
    stopped = rng.random(size) < STOPS
    morning = out - over + dark
    noticed = out * (1 + rng.uniform(0.0, 0.015, size))
    wear = np.where(at_night & ~stopped, morning, np.where(failed & ~at_night, noticed, out))
    since = np.where(at_night, np.maximum(out - over, 0.0), np.nan)
    ended = np.where(failed, np.where(chip_at < worn_at, BROKEN, WORN), CENSORED)
    return _Turn(wear, ended, since)


def _seen_at_the_end(
    world: World,
    keys: ShopKeys,
    edges: Edges,
    turn: _Turn,
    pace: Floats,
    rng: np.random.Generator,
) -> tuple[Floats, Floats, Ints]:
    """Share of the wear limit that was seen, at which reckoned wear, and how."""
    size = len(edges.key)
    used = turn.wear * pace
    land = edges.land(used) * np.exp(world.land_noise * rng.standard_normal(size))
    made = corrections(edges, used, world.size_noise, rng)
    measured = (rng.random(size) < LANDS) & (turn.ended != BROKEN)
    sized = keys.sized[edges.key] & np.isfinite(made.at_share) & (turn.ended != BROKEN)
    kind = np.where(measured, LAND_SEEN, np.where(sized, SIZE_SEEN, NOTHING_SEEN))
    share = np.where(measured, land, np.where(sized, made.grown, np.nan))
    at = np.where(measured, turn.wear, np.where(sized, made.at_share * turn.wear, np.nan))
    # Of every other worn edge an earlier correction is looked at, since its end is known.
    half = (turn.ended == WORN) & sized & ~measured & (np.arange(size) % 2 == 0)
    half &= np.isfinite(made.middle_at)
    share = np.where(half, made.middle, share)
    return share, np.where(half, made.middle_at * turn.wear, at), kind
