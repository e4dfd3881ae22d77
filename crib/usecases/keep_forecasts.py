"""Keeps the forecasts that were shown: the first of each shift, and the last of each edge."""

from __future__ import annotations

import logging
import math
import threading
from collections import deque
from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from crib.errors import Refusal
from crib.floor.timeline import us_of
from crib.life.calibration import KEPT_PROBS
from crib.planning.due import MountedEdge, signs_of
from crib.store.engine import Store, Tx
from crib.store.kept_rows import LAST, SHIFT, KeptForecast, insert_kept
from crib.store.savepoint import STORE_FAULTS
from crib.store.shop_rows import StayRow
from crib.usecases.foresight import Foresight
from crib.usecases.shop_view import ShopView

_LOG = logging.getLogger("crib.keep")

#: Plans that wait to be kept, and rows that wait for a database that takes them.
_MOST_PLANS = 8
_MOST_ROWS = 200_000

#: Whether a stay's forecast is wanted, by its mount and the end of its shift [µs].
Wanted = Callable[[int, int], bool]


def rows_to_keep(sight: Foresight, occasion: str, wanted: Wanted) -> list[KeptForecast]:
    """Forecasts of mounted edges as they are kept.

    Left out are edges that no run ahead uses and machines without any shift: nothing was
    forecast that could come true.

    Args:
        sight: What was shown.
        occasion: ``shift`` or ``last``.
        wanted: Which ones.
    """
    found = [one for one in _edges_of(sight) if wanted(one[1].mount_id, one[3])]
    if not found:
        return []
    view, due = sight.view, sight.due
    row = np.array([one[0] for one in found], dtype=np.int64)
    edges = [sight.edges[place] for place in row.tolist()]
    key = np.array([edge.key for edge in edges], dtype=np.int64)
    age = np.array([edge.age for edge in edges], dtype=np.float64)
    left = sight.model.remaining(key, age, due.wear_now[row], KEPT_PROBS, signs_of(edges))
    basis = sight.model.basis(key)
    names = {number: sight.lives.keys[number].text(view.rows.items) for number in set(key)}
    dark = _stretches(view)
    now_us = us_of(view.now)
    columns = zip(
        found,
        key.tolist(),
        age.tolist(),
        due.wear_now[row].tolist(),
        left.tolist(),
        due.fail_shift[row].tolist(),
        due.fail_dark[row].tolist(),
        basis.life_p10.tolist(),
        basis.life_p50.tolist(),
        basis.life_p90.tolist(),
        sight.model.widening[key].tolist(),
        strict=True,
    )
    kept = []
    for one, number, used, rate, ahead, shift, night, p10, p50, p90, wider in columns:
        place, stay, part_id, shift_us = one
        begin, end = dark[sight.edges[place].machine]
        kept.append(
            KeptForecast(
                0,
                now_us,
                occasion,
                stay.mount_id,
                stay.assembly_id,
                False,
                part_id,
                names[number],
                used,
                rate,
                tuple(ahead),
                shift_us,
                1.0 - shift,
                begin,
                end,
                None if begin is None else night,
                p10,
                p50,
                p90,
                wider,
            )
        )
    whole = [row for row in kept if _is_whole(row)]
    if len(whole) < len(kept):
        _LOG.error("%d forecasts cannot be kept: no rising numbers", len(kept) - len(whole))
    return whole


def _edges_of(sight: Foresight) -> Iterator[tuple[int, StayRow, int, int]]:
    """Place, stay, part and end of the shift [µs] of each edge that can be judged."""
    view, machines = sight.view, list(sight.view.ahead)
    ends: list[int | None] = []
    for machine_id in machines:
        shift = view.calendars[machine_id].current_shift(view.now)
        ends.append(us_of(shift.end_at) if shift else None)
    for place, (stay, edge) in enumerate(zip(sight.mounted, sight.edges, strict=False)):
        shift_us = ends[edge.machine]
        part_id = _next_part(view, machines[edge.machine], edge)
        if part_id is not None and shift_us is not None:
            yield place, stay.row, part_id, shift_us


def _next_part(view: ShopView, machine_id: int, edge: MountedEdge) -> int | None:
    """Part of the first run ahead that uses the edge."""
    for run, _ in view.ahead[machine_id].segments.steps:
        if run >= 0 and edge.per_part[run] > 0:
            return view.ahead_parts[machine_id][run]
    return None


def _stretches(view: ShopView) -> list[tuple[int, int] | tuple[None, None]]:
    """The next unattended stretch of each machine [µs], as ``edges_due`` takes it."""
    found: list[tuple[int, int] | tuple[None, None]] = []
    for machine in view.ahead.values():
        dark = np.flatnonzero(~machine.time.attended)
        if dark.size:
            begin, end = machine.time.begin_us[dark[0]], machine.time.end_us[dark[0]]
            found.append((int(begin), int(end)))
        else:
            found.append((None, None))
    return found


def _is_whole(row: KeptForecast) -> bool:
    lives = (row.life_p10, row.life_p50, row.life_p90)
    rising = all(a < b for numbers in (row.left, lives) for a, b in pairwise(numbers))
    known = all(map(math.isfinite, (*row.left, *lives, row.age, row.wear_per_part)))
    return rising and known and min(row.left[0], lives[0], row.wear_per_part) > 0


def keep_all(tx: Tx, sight: Foresight) -> int:
    """Keep every forecast as the first of its shift, where there is none yet.

    Args:
        tx: A write transaction.
        sight: What was shown.

    Returns:
        How many were kept.
    """
    return insert_kept(tx, rows_to_keep(sight, SHIFT, lambda *_: True))


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
        self._shown: deque[tuple[Foresight | None, Foresight]] = deque(maxlen=_MOST_PLANS)
        self._latest: Foresight | None = None
        self._unwritten: list[KeptForecast] = []
        self._known: dict[int, tuple[int, int]] = {}
        self.failures = 0
        self.last_failure: str | None = None

    @property
    def waiting(self) -> bool:
        """Whether there is anything to write."""
        return bool(self._shown) or bool(self._unwritten)

    def show(self, sight: Foresight) -> None:
        """Take over a plan that is about to be shown."""
        with self._lock:
            self._shown.append((self._latest, sight))
            self._latest = sight

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
                before, sight = self._shown.popleft()
            if before is not None:
                rows += self._last_ones(before, sight)
            first = rows_to_keep(sight, SHIFT, self._is_new)
            for row in first:
                self._known[row.mount_id] = (row.shift_ends_us, row.at_us)
            rows += first

    def _is_new(self, mount_id: int, shift_us: int) -> bool:
        return self._known.get(mount_id, (0, 0))[0] != shift_us

    def _last_ones(self, before: Foresight, sight: Foresight) -> list[KeptForecast]:
        """The forecasts of before of edges that are gone since."""
        still = {stay.row.mount_id for stay in sight.view.stays if stay.row.end_us is None}
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
        except (Refusal, *STORE_FAULTS, OSError) as problem:
            self._unwritten = rows[-_MOST_ROWS:]
            self.failures += 1
            self.last_failure = str(problem)
            _LOG.error("%d forecasts that were shown are not kept: %s", len(rows), problem)
            return 0
        self._unwritten = []
        return new
