"""The planner under test as a swap policy: life model, swap points and night rule."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.floor.calendar import WorkCalendar
from crib.floor.week import WEEKDAYS, spans_from_rows
from crib.life.model import LifeModel
from crib.life.observations import CENSORED, life_histories
from crib.life.pooling import KeyTable
from crib.life.running import counted_wear
from crib.planning.ahead import lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead, MountedEdge, edges_due
from crib.planning.night import NIGHT_LIMIT, MachineNight
from crib.planning.night_scale import night_scale
from crib.planning.swap_plan import plan_swaps
from tests.bench.forecast.floor import Floor, Plan
from tests.bench.forecast.plant import DAY_S, MACHINES, Plant
from tests.bench.forecast.predictor import Ablation, Shown, fit, swap_ages, table_of
from tests.bench.forecast.records import SIZE_SEEN

_START: Final = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
_REFIT_DAYS: Final = 7
_AHEAD: Final = timedelta(days=6)


@dataclass(slots=True)
class Planner:
    """Plans with the package's own functions once a day, when the last attended shift begins.

    Attributes:
        plant: The shop.
        told: What the model is given of the records.
        limit: Chance of a failure that a machine may go into the night with; 1: no night rule.
        nights: Forecast of each machine's night by day, as last made before it.
    """

    plant: Plant
    told: Ablation
    limit: float = NIGHT_LIMIT
    nights: dict[int, list[MachineNight]] = field(default_factory=dict)
    _calendar: WorkCalendar = field(init=False)
    _table: KeyTable = field(init=False)
    _model: LifeModel = field(init=False)
    _shown: Shown = field(init=False)
    _told_new: Floats = field(init=False)
    _widened: Floats = field(init=False)
    _basis: Floats = field(init=False)
    _plan: Plan = field(init=False)
    _new_ages: Floats = field(init=False)
    _own: Ints = field(init=False)
    _kept: int = field(init=False, default=0)
    _scale: float = field(init=False, default=1.0)
    _dark: Floats = field(init=False)
    _hazard: list[float] = field(init=False, default_factory=list)
    _failed: list[bool] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        count = len(self.plant.keys)
        self._calendar = _calendar_of(self.plant)
        self._table = table_of(self.plant.keys)
        self._shown = Shown(count)
        self._own = np.full(count, -1)
        self._dark = np.zeros(MACHINES)
        # Quantiles and widening that were shown of the edge in each station when it was new.
        self._told_new = np.full((4, count), np.nan)

    def __call__(self, floor: Floor, day: int, begin_s: float, shift_s: float) -> Plan:
        """Seconds until each swap, as the planner has it."""
        self._hold_against(floor)
        if day > 0 and begin_s == 0:
            self._judge_night(day - 1, floor)
        if day % _REFIT_DAYS == 0 and begin_s == 0:
            self._fit(floor)
        if begin_s == 0 and day > 0:
            return self._morning(floor, day, shift_s)
        self._show(floor)
        now = _START + timedelta(days=day, seconds=begin_s)
        machines = self._machines(now, day, begin_s, shift_s)
        edges = self._edges(floor, day)
        due = edges_due(machines, edges, self._model)
        scale = night_scale(self._hazard, self._failed)
        swaps = plan_swaps(machines, edges, due, self._model, limit=self.limit, scale=scale)
        self.nights[day] = [night for night in swaps.nights if night.ordinal == 0]
        self._scale = scale
        self._plan = (
            np.array([plan.first.seconds for plan in swaps.stations]),
            self._new_ages,
        )
        return self._plan

    def _morning(self, floor: Floor, day: int, shift_s: float) -> Plan:
        """The plan of the day before, gone on; edges that came in since go by their age."""
        due, ages = self._plan
        left = np.maximum(due - shift_s - self.plant.dark_s, 0.0)
        by_age = np.maximum(ages - floor.told.wear, 0.0) / floor.rates(day)[1]
        left = np.where(floor.told.fresh, by_age, left)
        self._show(floor)
        return left, ages

    def _judge_night(self, day: int, floor: Floor) -> None:
        """Hold the night that is over against its forecast, the factor in force undone."""
        dark = np.bincount(self.plant.machine, floor.tally.dark, minlength=MACHINES)
        failed = dark > self._dark
        self._dark = dark
        for night, hurt in zip(self.nights.get(day, []), failed.tolist(), strict=False):
            # The hazard of all its edges, swaps made, as it is before it becomes a chance.
            hazard = 0.0 if night.edges is None else float(night.edges.swapped[:, -1].sum())
            self._hazard.append(hazard / self._scale)
            self._failed.append(hurt)

    def _fit(self, floor: Floor) -> None:
        self._widened = self._shown.widening()
        wear, parts, lot = floor.told.wear, floor.told.parts, floor.told.lot
        counted = counted_wear(wear)
        still = np.flatnonzero(counted)
        running = life_histories(
            still,
            counted[still],
            parts[still] * counted[still] / wear[still],
            np.full(len(still), CENSORED),
            lot=lot[still] if self.told.lots else None,
        )
        self._own[:] = -1
        self._own[still] = np.arange(len(still)) if self.told.running else -1
        self._model = fit(self._table, floor.records(), self.told, self._widened, running)
        # A station plan's own age may stand on looks at the edge in it: not for the next one.
        self._new_ages = swap_ages(self._model, self.plant.keys)
        basis = self._model.basis(np.arange(len(self.plant.keys)))
        self._basis = np.stack([basis.life_p10, basis.life_p50, basis.life_p90, self._widened])

    def _hold_against(self, floor: Floor) -> None:
        """Lives that ended since the last look, against what was shown of them."""
        if len(floor.kept) == self._kept:
            return
        ended = floor.records().take(np.arange(len(floor.kept)) >= self._kept)
        self._kept = len(floor.kept)
        # Of two edges of one station between two looks only the first had been shown.
        _, first = np.unique(ended.key, return_index=True)
        rows = np.zeros(len(ended), dtype=np.bool_)
        rows[first] = True
        rows &= np.isfinite(self._told_new[0, ended.key])
        ended = ended.take(rows)
        self._shown.happened(ended, *self._told_new[:, ended.key])
        self._told_new[:, ended.key] = np.nan

    def _show(self, floor: Floor) -> None:
        fresh = floor.told.fresh
        self._told_new[:, fresh] = self._basis[:, fresh]
        self._own[fresh] = -1
        fresh[:] = False

    def _machines(
        self, now: datetime, day: int, begin_s: float, shift_s: float
    ) -> list[MachineAhead]:
        time = lay_out(self._calendar, now, now + _AHEAD)
        rows = []
        for machine in range(MACHINES):
            cycle = float(self.plant.cycle_s[machine])
            runs = [
                RunAhead(f"part {job}", seconds / cycle, cycle)
                for job, seconds in self._runs(machine, day, begin_s)
            ]
            rows.append(MachineAhead(f"M{machine}", time, plan_segments(time, runs), shift_s))
        return rows

    def _runs(self, machine: int, day: int, begin_s: float) -> list[tuple[int, float]]:
        """Job and running seconds of the runs ahead."""
        jobs = self.plant.job[machine, day : day + _AHEAD.days + 1]
        cuts = [0, *(np.flatnonzero(np.diff(jobs)) + 1).tolist(), len(jobs)]
        runs = [(int(jobs[a]), (b - a) * DAY_S) for a, b in pairwise(cuts)]
        return [(runs[0][0], runs[0][1] - begin_s), *runs[1:]]

    def _edges(self, floor: Floor, day: int) -> list[MountedEdge]:
        told, keys = floor.told, self.plant.keys
        runs = [[job for job, _ in self._runs(m, day, 0.0)] for m in range(MACHINES)]
        edges = []
        for row, machine in enumerate(self.plant.machine.tolist()):
            per_part = tuple(float(keys.truth.job_wear[row, job]) for job in runs[machine])
            left, seen = None, {}
            if self.told.signals and told.corrections[row]:
                seen = {
                    "seen_share": float(told.grown[row]),
                    "seen_at": float(told.grown_at[row]),
                    "seen_kind": SIZE_SEEN,
                }
            if self.told.signals and told.corrections[row] >= 2 and told.grown[row] > 0:
                left = float(max(1 - told.grown[row], 0.0) * told.parts[row] / told.grown[row])
            edge = MountedEdge(
                station_id=row,
                machine=machine,
                key=row,
                age=float(told.wear[row]),
                per_part=per_part,
                planned_cost=float(keys.planned_cost[row]),
                failure_cost=float(keys.failure_cost[row]),
                size_parts_left=left,
                lot=int(told.lot[row]) if self.told.lots else -1,
                own=int(self._own[row]),
                **seen,
            )
            edges.append(edge)
        return edges


def _calendar_of(plant: Plant) -> WorkCalendar:
    """From 06:00 attended, then the night until 06:00, every day."""
    minute = round(1_800 - plant.dark_s / 60)
    dark = f"{minute // 60 % 24:02d}:{minute % 60:02d}"
    rows = [
        row
        for day in WEEKDAYS
        for row in ((day, "06:00", dark, True), (day, dark, "06:00", False))
    ]
    return WorkCalendar(spans_from_rows(rows), "UTC")
