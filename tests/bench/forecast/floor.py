"""Six machines over many days: what really happens on them, shift by shift, to every edge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from crib.arrays import Floats, Ints
from tests.bench.forecast.plant import DAY_S, MACHINES, Plant
from tests.bench.forecast.records import (
    BROKEN,
    CENSORED,
    LAND_SEEN,
    NOTHING_SEEN,
    SIZE_SEEN,
    WORN,
    Records,
)
from tests.bench.forecast.worlds import (
    CORRECTED_FROM,
    LANDS,
    STOPS,
)

_BLOCK_S: Final = 7_200.0
_NEVER: Final = np.inf


@dataclass(slots=True)
class Told:
    """What the shop knows of the edges in its stations, arrays of shape (stations,).

    Attributes:
        wear: Reckoned wear since the last swap that was told.
        parts: Parts since then.
        lot: Box of the edge.
        grown: Size corrections so far over the growth at the wear limit.
        grown_at: Reckoned wear at the last one.
        middle: The same sum by the last correction that left it under two thirds.
        middle_at: Reckoned wear at that one; NaN: none.
        corrections: How many there were.
        fresh: Whether the station got a new edge since the policy last looked.
    """

    wear: Floats
    parts: Floats
    lot: Ints
    grown: Floats
    grown_at: Floats
    middle: Floats
    middle_at: Floats
    corrections: Ints
    fresh: NDArray[np.bool_]


@dataclass(slots=True)
class Tally:
    """What came of it, arrays of shape (stations,).

    Attributes:
        cost: Of all swaps and failures.
        use: Reckoned wear units of good parts.
        failures: Edges that failed in the cut.
        dark: Those of them with nobody there.
        lives: Edges that came out, but for those thrown out at a job change.
        lived: Sum of the shares of their wear life that they had behind them.
    """

    cost: Floats
    use: Floats
    failures: Ints
    dark: Ints
    lives: Ints
    lived: Floats


#: Seconds until each station is to be swapped, and the age at which its next edges are.
Plan = tuple[Floats, Floats]


@dataclass(slots=True)
class Floor:
    """The machines as they stand; ``run`` takes them through time."""

    plant: Plant
    seed: int
    told: Told = field(init=False)
    tally: Tally = field(init=False)
    kept: list[tuple[float, ...]] = field(init=False, default_factory=list)
    _rng: np.random.Generator = field(init=False)
    _number: Ints = field(init=False)
    _used: Floats = field(init=False)
    _parts: Floats = field(init=False)
    _good: Floats = field(init=False)

    def __post_init__(self) -> None:
        n = len(self.plant.keys)
        self._rng = np.random.default_rng([self.seed, 6])
        self._number = np.arange(n) * self.plant.depth
        self._used, self._parts = np.zeros(n), np.zeros(n)
        self._good = np.full(n, np.nan)
        self.told = Told(
            np.zeros(n), np.zeros(n), self.plant.lot[self._number], np.zeros(n),
            np.full(n, np.nan), np.zeros(n), np.full(n, np.nan), np.zeros(n, dtype=np.int64),
            np.ones(n, dtype=np.bool_),
        )  # fmt: skip
        self.tally = Tally(
            np.zeros(n), np.zeros(n), np.zeros(n, dtype=np.int64),
            np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64), np.zeros(n),
        )  # fmt: skip

    def rates(self, day: int) -> tuple[Floats, Floats, Floats]:
        """Parts, reckoned wear and true wear per second of each station."""
        job = self.plant.job[self.plant.machine, day]
        rows = np.arange(len(job))
        parts = 1 / self.plant.cycle_s[self.plant.machine]
        truth = self.plant.keys.truth
        wear = parts * truth.job_wear[rows, job]
        return parts, wear, wear * truth.job_factor[rows, job]

    def change_jobs(self, day: int) -> None:
        """At a changeover some edges are thrown out although they still cut well."""
        changed = self.plant.job[:, day] != self.plant.job[:, day - 1] if day else None
        if self.plant.world.jobs == 1 and day:
            changed = self._rng.random(MACHINES) < 0.2
        if changed is None:
            return
        some = changed[self.plant.machine]
        some &= self._rng.random(len(some)) < self.plant.world.job_change
        self._swap(some, np.full(len(some), CENSORED), counted=False)

    def attended(self, day: int, seconds: float, plan: Plan) -> None:
        """A shift with people: swaps as planned, failures seen at once."""
        # A swap planned for the last minute of the shift is made in it, rounding or not.
        due, ages = np.where(np.abs(plan[0] - seconds) < 60, seconds, plan[0]), plan[1]
        parts, wear, true = self.rates(day)
        done = 0.0
        while done < seconds - 1:
            block = min(_BLOCK_S, seconds - done)
            here = np.zeros(len(due))
            while True:
                dies = self._time_to_die(parts, true)
                stays = block - here
                wait = np.maximum(due - here, 0.0)
                fails = dies < np.minimum(wait, stays)
                planned = ~fails & (wait <= stays + 1e-6)
                if not (fails | planned).any():
                    break
                step = np.where(fails, dies, np.where(planned, wait, 0.0))
                self._advance(step, parts, wear, true)
                here += step
                worn = self._worn(true, parts)
                self._fail(fails, np.where(worn, WORN, BROKEN), np.full(len(due), np.nan))
                self._plan_swap(planned)
                due = np.where(fails | planned, here + ages / wear, due)
            self._advance(block - here, parts, wear, true)
            self._check_sizes()
            done += block
            due = due - block

    def unattended(self, day: int, seconds: float) -> NDArray[np.bool_]:
        """Hours with nobody there; failures are found in the morning.

        Returns:
            Whether an edge failed, by machine.
        """
        parts, wear, true = self.rates(day)
        dies = self._time_to_die(parts, true)
        machine = self.plant.machine
        stops = np.where(self._rng.random(len(dies)) < STOPS, dies, _NEVER)
        runs = np.full(MACHINES, seconds)
        np.minimum.at(runs, machine, stops)
        length = runs[machine]
        fails = dies <= np.minimum(length, seconds - 1e-6)
        known = self.told.wear.copy()
        self._advance(np.minimum(dies, length), parts, wear, true)
        worn = self._worn(true, parts)
        # Past its failure an edge makes bad parts, which the counter counts all the same.
        more = np.where(fails, length - dies, 0.0)
        self.told.wear += more * wear
        self.told.parts += more * parts
        self._fail(fails, np.where(worn, WORN, BROKEN), known)
        self.tally.dark[fails] += 1
        self._check_sizes()
        hurt = np.zeros(MACHINES, dtype=np.bool_)
        hurt[machine[fails]] = True
        return hurt

    def records(self) -> Records:
        """All lives so far as the shop wrote them down."""
        rows = np.array(self.kept, dtype=np.float64).reshape(-1, 9)
        whole = [rows[:, i].astype(np.int64) for i in (0, 3, 4, 8)]
        return Records(
            whole[0], np.zeros(len(rows), dtype=np.int64), rows[:, 1], rows[:, 2], whole[1],
            whole[2], rows[:, 5], rows[:, 6], rows[:, 7], whole[3],
        )  # fmt: skip

    def chipping_alone(self, day: int, seconds: float) -> float:
        """Mean chance of a machine that a good, sharp edge chips in so many seconds."""
        parts, _, _ = self.rates(day)
        hazard = parts * seconds * self.plant.keys.truth.chip_per_part
        by_machine = np.bincount(self.plant.machine, hazard)
        return float(np.mean(-np.expm1(-by_machine)))

    def _time_to_die(self, parts: Floats, true: Floats) -> Floats:
        edges, at = self.plant.edges, self._number
        wear = (edges.stands[at] - self._used) / true
        chip = (edges.chips_after[at] - self._parts) / parts
        return np.maximum(np.minimum(wear, chip), 0.0)

    def _worn(self, true: Floats, parts: Floats) -> NDArray[np.bool_]:
        edges, at = self.plant.edges, self._number
        wear = (edges.stands[at] - self._used) / true
        return np.asarray(wear <= (edges.chips_after[at] - self._parts) / parts)

    def _advance(self, seconds: Floats, parts: Floats, wear: Floats, true: Floats) -> None:
        self._used += seconds * true
        self._parts += seconds * parts
        self.told.wear += seconds * wear
        self.told.parts += seconds * parts
        self.tally.use += seconds * wear

    def _plan_swap(self, which: NDArray[np.bool_]) -> None:
        self.tally.cost[which] += self.plant.keys.planned_cost[which]
        self._swap(which, np.full(len(which), CENSORED))

    def _fail(self, which: NDArray[np.bool_], ended: Ints, since: Floats) -> None:
        self.tally.cost[which] += self.plant.keys.failure_cost[which]
        self.tally.failures[which] += 1
        self._swap(which, ended, since)

    def _swap(
        self,
        which: NDArray[np.bool_],
        ended: Ints,
        since: Floats | None = None,
        counted: bool = True,
    ) -> None:
        """New edges in; what was told of the old ones is written down."""
        rows = np.flatnonzero(which)
        if not rows.size:
            return
        world, told, keys = self.plant.world, self.told, self.plant.keys
        silent = self._rng.random(rows.size) < world.unlogged
        old = self.plant.edges.take(self._number[rows])
        land = old.land(self._used[rows]) * np.exp(
            world.land_noise * self._rng.standard_normal(rows.size)
        )
        measured = self._rng.random(rows.size) < LANDS
        if counted:
            self.tally.lives[rows] += 1
            self.tally.lived[rows] += self._used[rows] / old.stands
        for i, row in enumerate(rows.tolist()):
            if silent[i]:
                continue
            end, share, at, kind = int(ended[row]), np.nan, np.nan, NOTHING_SEEN
            if end != BROKEN and measured[i]:
                share, at, kind = float(land[i]), told.wear[row], LAND_SEEN
                end = WORN if end == CENSORED and share >= 1 else end
            elif end != BROKEN and keys.sized[row] and told.corrections[row]:
                share, at, kind = told.grown[row], told.grown_at[row], SIZE_SEEN
                # Of every other worn edge an earlier one is looked at: its end is known.
                if end == WORN and self._number[row] % 2 == 0 and told.middle_at[row] > 0:
                    share, at = told.middle[row], told.middle_at[row]
            known = np.nan if since is None else since[row]
            if told.wear[row] > 0:
                self.kept.append((
                    row, told.wear[row], max(round(told.parts[row]), 1), end, told.lot[row],
                    known, share, at, kind,
                ))  # fmt: skip
        self._number[rows] += 1
        if np.any(self._number[rows] % self.plant.depth == 0):
            raise RuntimeError("A station used up all edges that were drawn for it.")
        self._used[rows] = self._parts[rows] = 0.0
        # The size is set anew on every edge; the rest goes on where nothing was told.
        told.grown[rows], told.grown_at[rows], told.corrections[rows] = 0.0, np.nan, 0
        told.middle[rows], told.middle_at[rows] = 0.0, np.nan
        logged = rows[~silent]
        told.wear[logged] = told.parts[logged] = 0.0
        told.lot[logged] = self.plant.lot[self._number[logged]]
        told.fresh[logged] = True

    def _check_sizes(self) -> None:
        noise = self.plant.world.size_noise * self._rng.standard_normal(len(self._used))
        land = self.plant.edges.take(self._number).land(self._used)
        off = land - self.told.grown + noise
        made = self.plant.keys.sized & (off > CORRECTED_FROM)
        self.told.grown = np.where(made, self.told.grown + off, self.told.grown)
        self.told.grown_at = np.where(made, self.told.wear, self.told.grown_at)
        early = made & (self.told.grown < 2 / 3)
        self.told.middle = np.where(early, self.told.grown, self.told.middle)
        self.told.middle_at = np.where(early, self.told.wear, self.told.middle_at)
        self.told.corrections += made


#: Called at the start of a shift: floor, day, seconds into the day, length of the shift.
Policy = Callable[[Floor, int, float, float], Plan]


def run_floor(floor: Floor, policy: Policy) -> list[tuple[int, NDArray[np.bool_]]]:
    """Take the machines through all days; two attended shifts, then the night.

    Returns:
        Day and whether an edge failed, by machine, of every night.
    """
    plant = floor.plant
    shift = (DAY_S - plant.dark_s) / 2
    nights = []
    for day in range(plant.days):
        floor.change_jobs(day)
        for begin in (0.0, shift):
            floor.attended(day, shift, policy(floor, day, begin, shift))
        nights.append((day, floor.unattended(day, plant.dark_s)))
    return nights
