"""Keeps the forecasts that were shown: the first of each shift, and the last of each edge."""

from __future__ import annotations

import logging
import math
import threading
from collections import deque
from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np
from sqlalchemy.exc import SQLAlchemyError

from crib.errors import Refusal
from crib.floor.timeline import us_of
from crib.life.calibration import KEPT_PROBS
from crib.planning.due import MountedEdge
from crib.store.engine import Store, Tx
from crib.store.kept_rows import LAST, SHIFT, KeptForecast, insert_kept
from crib.store.shop_rows import StayRow
from crib.usecases.forecast import Forecast, ShopPlan

_LOG = logging.getLogger("crib.keep")

#: Plans that wait to be kept, and rows that wait for a database that takes them.
_MOST_PLANS = 8
_MOST_ROWS = 200_000

#: Whether a stay's forecast is wanted, by its mount and the end of its shift [µs].
Wanted = Callable[[int, int], bool]


def rows_to_keep(plan: ShopPlan, occasion: str, wanted: Wanted) -> list[KeptForecast]:
    """A plan's forecasts as they are kept.

    Left out are edges that no run ahead uses and machines without any shift: nothing was
    forecast that could come true.

    Args:
        plan: What was shown.
        occasion: ``shift`` or ``last``.
        wanted: Which ones.
    """
    rows = [found for found in _edges_of(plan) if wanted(found[1].mount_id, found[4])]
    if not rows:
        return []
    edges = [plan.edges[place] for place, *_ in rows]
    key = np.array([edge.key for edge in edges], dtype=np.int64)
    rate = np.array([seen.basis.wear_per_part for *_, seen, _, _ in rows if seen.basis])
    left = plan.model.remaining(
        key, np.array([edge.age for edge in edges]), rate, KEPT_PROBS
    ).tolist()
    basis = plan.model.basis(key)
    lives = np.stack([basis.life_p10, basis.life_p50, basis.life_p90], axis=1).tolist()
    factors = plan.model.widening
    now_us = us_of(plan.view.now)
    kept = []
    for (_, stay, seen, part_id, shift_us), edge, ahead, life in zip(
        rows, edges, left, lives, strict=True
    ):
        dark = _unattended(plan, edge) if seen.fail_probability_unattended is not None else None
        kept.append(
            KeptForecast(
                0,
                now_us,
                occasion,
                stay.mount_id,
                stay.assembly_id,
                False,
                part_id,
                seen.basis.key if seen.basis else "",
                edge.age,
                seen.basis.wear_per_part if seen.basis else 0.0,
                tuple(ahead),
                shift_us,
                1.0 - (seen.fail_probability_shift or 0.0),
                dark[0] if dark else None,
                dark[1] if dark else None,
                seen.fail_probability_unattended if dark else None,
                life[0],
                life[1],
                life[2],
                float(factors[edge.key]),
            )
        )
    whole = [row for row in kept if _is_whole(row)]
    if len(whole) < len(kept):
        _LOG.error("%d forecasts cannot be kept: no rising numbers", len(kept) - len(whole))
    return whole


def _edges_of(plan: ShopPlan) -> Iterator[tuple[int, StayRow, Forecast, int, int]]:
    """Place, stay, forecast, part and end of the shift [µs] of each edge to be judged."""
    view = plan.view
    stays = {stay.row.station_id: stay.row for stay in view.stays if stay.row.end_us is None}
    shown = {one.station_id: one for one in plan.forecasts}
    machines = list(view.ahead)
    ends: dict[int, int | None] = {}
    for machine_id in machines:
        shift = view.calendars[machine_id].current_shift(view.now)
        ends[machine_id] = us_of(shift.end_at) if shift else None
    for place, edge in enumerate(plan.edges):
        machine_id, seen = machines[edge.machine], shown[edge.station_id]
        shift_us = ends[machine_id]
        part_id = _next_part(plan, machine_id, edge)
        if seen.basis is None or part_id is None or shift_us is None:
            continue
        yield place, stays[edge.station_id], seen, part_id, shift_us


def _next_part(plan: ShopPlan, machine_id: int, edge: MountedEdge) -> int | None:
    """Part of the first run ahead that uses the edge."""
    for run, _ in plan.view.ahead[machine_id].segments.steps:
        if run >= 0 and edge.per_part[run] > 0:
            return plan.view.ahead_parts[machine_id][run]
    return None


def _unattended(plan: ShopPlan, edge: MountedEdge) -> tuple[int, int] | None:
    time = list(plan.view.ahead.values())[edge.machine].time
    stretch = time.next_unattended()
    if stretch is None:
        return None
    index = int(np.flatnonzero(~time.attended)[0])
    return int(time.begin_us[index]), int(time.end_us[index])


def _is_whole(row: KeptForecast) -> bool:
    lives = (row.life_p10, row.life_p50, row.life_p90)
    rising = all(a < b for numbers in (row.left, lives) for a, b in pairwise(numbers))
    known = all(map(math.isfinite, (*row.left, *lives, row.age, row.wear_per_part)))
    return rising and known and min(row.left[0], lives[0], row.wear_per_part) > 0


def keep_plan(tx: Tx, plan: ShopPlan) -> int:
    """Keep every forecast of a plan as the first of its shift, where there is none yet.

    Args:
        tx: A write transaction.
        plan: What was shown.

    Returns:
        How many were kept.
    """
    return insert_kept(tx, rows_to_keep(plan, SHIFT, lambda *_: True))


class ForecastKeeper:
    """Takes what was shown and writes it down later, off the way of the answer.

    Plans are handed over by ``show``; ``keep`` writes in one transaction what is new in them:
    of each stay the first forecast of a shift, and the last one before the edge was gone.
    What cannot be written is told in the log and by ``failures``, and tried again.

    Args:
        store: Where they are kept.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._at_work = threading.Lock()
        self._shown: deque[tuple[ShopPlan | None, ShopPlan]] = deque(maxlen=_MOST_PLANS)
        self._latest: ShopPlan | None = None
        self._unwritten: list[KeptForecast] = []
        self._known: dict[int, tuple[int, int]] = {}
        self.failures = 0
        self.last_failure: str | None = None

    @property
    def waiting(self) -> bool:
        """Whether there is anything to write."""
        return bool(self._shown) or bool(self._unwritten)

    def show(self, plan: ShopPlan) -> None:
        """Take over a plan that is about to be shown."""
        with self._lock:
            self._shown.append((self._latest, plan))
            self._latest = plan

    def keep(self) -> int:
        """Write what waits; another thread that does so already is left to it.

        Returns:
            How many forecasts are new in the database.
        """
        if not self._at_work.acquire(blocking=False):
            return 0
        try:
            return self._write(self._unwritten + self._gathered())
        finally:
            self._at_work.release()

    def _gathered(self) -> list[KeptForecast]:
        rows: list[KeptForecast] = []
        while True:
            with self._lock:
                if not self._shown:
                    return rows
                before, plan = self._shown.popleft()
            if before is not None:
                rows += self._last_ones(before, plan)
            first = rows_to_keep(plan, SHIFT, self._is_new)
            for row in first:
                self._known[row.mount_id] = (row.shift_ends_us, row.at_us)
            rows += first

    def _is_new(self, mount_id: int, shift_us: int) -> bool:
        return self._known.get(mount_id, (0, 0))[0] != shift_us

    def _last_ones(self, before: ShopPlan, plan: ShopPlan) -> list[KeptForecast]:
        """The forecasts of before of edges that are gone since."""
        still = {stay.row.mount_id for stay in plan.view.stays if stay.row.end_us is None}
        now_us = us_of(before.view.now)
        rows = rows_to_keep(
            before,
            LAST,
            lambda mount_id, _: (
                mount_id not in still and self._known.get(mount_id, (0, 0))[1] != now_us
            ),
        )
        self._known = {mount: known for mount, known in self._known.items() if mount in still}
        return rows

    def _write(self, rows: list[KeptForecast]) -> int:
        if not rows:
            return 0
        try:
            with self._store.note() as tx:
                new = insert_kept(tx, rows)
        except (Refusal, SQLAlchemyError, OSError) as problem:
            self._unwritten = rows[-_MOST_ROWS:]
            self.failures += 1
            self.last_failure = str(problem)
            _LOG.error("%d forecasts that were shown are not kept: %s", len(rows), problem)
            return 0
        self._unwritten = []
        return new
