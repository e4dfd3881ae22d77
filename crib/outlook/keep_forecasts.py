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
from crib.outlook.expected_lives import ExpectedLives
from crib.outlook.shop_now import ShopNow
from crib.planning.due import MountedEdge, signs_of
from crib.store.engine import Store, Tx
from crib.store.kept_rows import LAST, SHIFT, KeptForecast, insert_kept
from crib.store.machine_rows import StayRow
from crib.store.savepoint import STORE_FAULTS

_LOG = logging.getLogger("crib.keep")

#: Plans that wait to be kept, and rows that wait for a database that takes them.
_MOST_PLANS = 8
_MOST_ROWS = 200_000

#: Whether a stay's forecast is wanted, by its mount and the end of its shift [µs].
Wanted = Callable[[int, int], bool]


def rows_to_keep(expected: ExpectedLives, occasion: str, wanted: Wanted) -> list[KeptForecast]:
    """Forecasts of mounted edges as they are kept.

    Left out are edges that no run ahead uses and machines without any shift: nothing was
    forecast that could be judged.

    Args:
        expected: What was shown.
        occasion: ``shift`` or ``last``.
        wanted: Which ones.
    """
    found = [one for one in _edges_of(expected) if wanted(one[1].mount_id, one[3])]
    if not found:
        return []
    shop, due = expected.shop, expected.due
    row = np.array([one[0] for one in found], dtype=np.int64)
    edges = [expected.edges[place] for place in row.tolist()]
    key = np.array([edge.key for edge in edges], dtype=np.int64)
    age = np.array([edge.age for edge in edges], dtype=np.float64)
    left = expected.model.remaining(key, age, due.wear_now[row], KEPT_PROBS, signs_of(edges))
    basis = expected.model.basis(key)
    names = {number: expected.lives.keys[number].text(shop.rows.items) for number in set(key)}
    dark = _stretches(shop)
    now_us = us_of(shop.now)
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
        expected.model.widening[key].tolist(),
        strict=True,
    )
    kept = []
    for one, number, used, rate, ahead, shift, night, p10, p50, p90, wider in columns:
        place, stay, part_id, shift_us = one
        begin, end = dark[expected.edges[place].machine]
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
                None if begin is None else expected.night_scale,
            )
        )
    whole = [row for row in kept if _is_whole(row)]
    if len(whole) < len(kept):
        _LOG.error("%d forecasts cannot be kept: no rising numbers", len(kept) - len(whole))
    return whole


def _edges_of(expected: ExpectedLives) -> Iterator[tuple[int, StayRow, int, int]]:
    """Place, stay, part and end of the shift [µs] of each edge that can be judged."""
    shop, machines = expected.shop, list(expected.shop.machines)
    ends: list[int | None] = []
    for machine_id in machines:
        shift = shop.machines[machine_id].calendar.current_shift(shop.now)
        ends.append(us_of(shift.end_at) if shift else None)
    for place, (stay, edge) in enumerate(zip(expected.mounted, expected.edges, strict=False)):
        shift_us = ends[edge.machine]
        part_id = _next_part(shop, machines[edge.machine], edge)
        if part_id is not None and shift_us is not None:
            yield place, stay.row, part_id, shift_us


def _next_part(shop: ShopNow, machine_id: int, edge: MountedEdge) -> int | None:
    """Part of the first run ahead that uses the edge."""
    machine = shop.machines[machine_id]
    for run, _ in machine.ahead.segments.steps:
        if run >= 0 and edge.per_part[run] > 0:
            return machine.runs_ahead[run].part_id
    return None


def _stretches(shop: ShopNow) -> list[tuple[int, int] | tuple[None, None]]:
    """The next unattended stretch of each machine [µs], as ``edges_due`` takes it."""
    found: list[tuple[int, int] | tuple[None, None]] = []
    for machine in shop.ahead:
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


def keep_all(tx: Tx, expected: ExpectedLives) -> int:
    """Keep every forecast as the first of its shift, where there is none yet.

    Args:
        tx: A write transaction.
        expected: What was shown.

    Returns:
        How many were kept.
    """
    return insert_kept(tx, rows_to_keep(expected, SHIFT, lambda *_: True))


class ForecastKeeper:
    """Takes what was shown and writes it down later, off the way of the answer.

    Plans are handed over by ``show``; ``keep`` writes in one transaction what is new in them:
    of each stay the first forecast of a shift, and the last one before the edge was gone.
    What cannot be written is named in the log and by ``failures``, and tried again.

    Args:
        store: Where they are kept.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._at_work = threading.Lock()
        self._shown: deque[tuple[ExpectedLives | None, ExpectedLives]] = deque(
            maxlen=_MOST_PLANS
        )
        self._latest: ExpectedLives | None = None
        self._unwritten: list[KeptForecast] = []
        self._known: dict[int, tuple[int, int]] = {}
        self.failures = 0
        self.last_failure: str | None = None

    @property
    def waiting(self) -> bool:
        """Whether there is anything to write."""
        return bool(self._shown) or bool(self._unwritten)

    def show(self, expected: ExpectedLives) -> None:
        """Take over a plan that is about to be shown."""
        with self._lock:
            self._shown.append((self._latest, expected))
            self._latest = expected

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
                before, expected = self._shown.popleft()
            if before is not None:
                rows += self._last_ones(before, expected)
            first = rows_to_keep(expected, SHIFT, self._is_new)
            for row in first:
                self._known[row.mount_id] = (row.shift_ends_us, row.at_us)
            rows += first

    def _is_new(self, mount_id: int, shift_us: int) -> bool:
        return self._known.get(mount_id, (0, 0))[0] != shift_us

    def _last_ones(self, before: ExpectedLives, expected: ExpectedLives) -> list[KeptForecast]:
        """The forecasts of before of edges that are gone since."""
        still = {stay.row.mount_id for stay in expected.shop.stays if stay.row.end_us is None}
        now_us = us_of(before.shop.now)
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
