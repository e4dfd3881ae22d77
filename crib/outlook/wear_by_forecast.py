"""Wear that edges made under each kept forecast: failures expected of it, and those seen."""

from __future__ import annotations

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.as_long import WearMade, wear_made
from crib.life.calibration import hazard_in_forecast
from crib.outlook.judged_forecasts import Judged
from crib.store.kept_rows import SHIFT

#: Time that one block of forecasts spans: about a month.
BLOCK_US = 30 * 24 * 3_600_000_000

_LEAST = 1e-12
#: Slope of Weibull's law in ln life: this over the ln distance from the 10 to the 90 % point.
_TENTHS = float(np.log(np.log(10) / -np.log(0.9)))


def wear_by_forecast(judged: Judged, since_us: int) -> WearMade:
    """Wear made under each forecast until the next one of its edge, shape (forecasts,).

    A forecast that was kept because its edge was gone has no wear here: which ones are kept
    must not hang on what happened. A failure that nobody saw counts for the last forecast
    made while the edge was known to be good.

    Args:
        judged: Forecasts in order of time, with what followed.
        since_us: Instant that blocks of time are counted from [µs].
    """
    kept, ends = judged.kept, judged.ends
    count = len(kept)
    good = np.array([end.good_wear for end in ends], dtype=np.float64)
    failed = np.array([end.failed_wear for end in ends], dtype=np.float64)
    unit = np.array([end.unit for end in ends], dtype=np.float64)
    over = np.isfinite(failed)
    edge = np.array([row.assembly_id for row in kept], dtype=np.int64)
    used = np.array([row.occasion == SHIFT for row in kept], dtype=np.bool_)
    rows = np.flatnonzero(used)
    earliest = np.zeros(count, dtype=np.bool_)
    earliest[rows[np.unique(edge[rows], return_index=True)[1]]] = True
    used &= earliest | ~(over & (failed > good) & (good <= 0))
    rows = np.flatnonzero(used)
    following = _following(edge[rows])
    goes_on = rows[following >= 0]
    later = rows[following[following >= 0]]
    good[goes_on] = np.maximum(good[goes_on] - good[later] * unit[goes_on] / unit[later], 0)
    over[goes_on] = False
    over &= used
    left = np.array([row.left for row in kept], dtype=np.float64).reshape(count, 7)
    age = np.array([row.age for row in kept], dtype=np.float64)
    bounds = np.array([(r.life_p10, r.life_p50, r.life_p90) for r in kept]).reshape(count, 3)
    until_good = _by_stage(left, age, np.where(used, good, 0.0), bounds)
    dark = np.zeros_like(until_good)
    hid = over & (failed > good)
    until_failed = _by_stage(left[hid], age[hid], failed[hid], bounds[hid])
    dark[hid] = np.maximum(until_failed - until_good[hid], 0.0)
    end = age + np.where(over, failed, 0.0)
    return wear_made(
        until_good,
        dark,
        over,
        (end[:, None] > bounds).sum(axis=1),
        _TENTHS / np.log(bounds[:, 2] / bounds[:, 0]),
        [max(row.at_us - since_us, 0) // BLOCK_US for row in kept],
    )


def _following(edge: Ints) -> Ints:
    """Place of the next row of the same edge, -1 where there is none."""
    order = np.argsort(edge, kind="stable")
    following = np.full(len(edge), -1)
    same = edge[order[:-1]] == edge[order[1:]]
    following[order[:-1][same]] = order[1:][same]
    return following


def _by_stage(left: Floats, age: Floats, wear: Floats, bounds: Floats) -> Floats:
    """Hazard forecast over some wear from an age on, by stage of life."""
    cut = np.clip(bounds - age[:, None], 0.0, wear[:, None])
    upto = [hazard_in_forecast(left, np.maximum(to, _LEAST)) for to in (*cut.T, wear)]
    return np.maximum(np.diff(np.stack(upto, axis=1), axis=1, prepend=0.0), 0.0)
