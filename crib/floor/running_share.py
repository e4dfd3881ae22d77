"""Which share of its open time a machine really cuts, learned from its counter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

#: A machine that nothing is known of is taken to cut all its open time, as if it had done so
#: for two hours; so a few readings move the share little (own choice, no source).
PRIOR_S = 7_200.0
#: Each kind of time leans on both together as if it had been seen at that share so long.
LEAN_S = 8 * 3_600.0
#: Below this much time seen of a kind, it has no share of its own.
ENOUGH_S = 4 * 3_600.0
#: Intervals between readings, and standard errors apart, that a share of its own takes.
_ENOUGH_INTERVALS = 8
_APART = 2.0
#: Shares that are believed; beyond them the cycle time on record is wrong.
LEAST, MOST = 0.2, 1.3


@dataclass(frozen=True, slots=True)
class RunningShare:
    """Seconds of cutting per second of open time; above 1 the cycle is shorter than recorded.

    Attributes:
        both: Of all open time.
        attended: While somebody is there.
        unattended: While nobody is.
        separate: Whether the data tell the two apart; else both are ``both``.
        seen_s: Open time that it was learned from [s].
    """

    both: float = 1.0
    attended: float = 1.0
    unattended: float = 1.0
    separate: bool = False
    seen_s: float = 0.0


def learn_running_share(
    attended_s: ArrayLike, unattended_s: ArrayLike, busy_s: ArrayLike
) -> RunningShare:
    """Learn a machine's share from the intervals between its counter readings.

    The share of all open time is the ratio of sums, with a prior. Those of attended and
    unattended time are a ridge regression of busy on open time, intervals weighted by the
    inverse of their length (their variance grows with it), each leaning on the common one;
    they count as two where they differ by more than twice the standard error of the
    difference.

    Args:
        attended_s: Attended open time of each interval [s], shape (intervals,).
        unattended_s: Unattended open time of each [s].
        busy_s: Parts counted in each times their cycle [s].

    Returns:
        The shares, between 0.2 and 1.3.
    """
    open_s = np.stack(
        [np.asarray(attended_s, dtype=np.float64), np.asarray(unattended_s, dtype=np.float64)],
        axis=1,
    )
    busy = np.asarray(busy_s, dtype=np.float64)
    length = open_s.sum(axis=1)
    busy = np.where(length > 0, busy, 0.0)  # what is cut while closed says nothing of the hours
    seen = float(length.sum())
    both = _held((busy.sum() + PRIOR_S) / (seen + PRIOR_S))
    common = RunningShare(both, both, both, False, seen)
    used = length > 0
    if used.sum() < _ENOUGH_INTERVALS or open_s.sum(axis=0).min() < ENOUGH_S:
        return common
    rows, told, weight = open_s[used], busy[used], 1.0 / length[used]
    normal = rows.T @ (rows * weight[:, None]) + LEAN_S * np.eye(2)
    shares = np.linalg.solve(normal, rows.T @ (told * weight) + LEAN_S * both)
    rest = told - rows @ shares
    variance = float((weight * rest**2).sum()) / max(int(used.sum()) - 2, 1)
    inverse = np.linalg.inv(normal)
    apart = np.array([1.0, -1.0])
    error = float(np.sqrt(variance * (apart @ inverse @ apart)))
    attended, unattended = (_held(share) for share in shares.tolist())
    if abs(attended - unattended) <= max(_APART * error, 0.01):
        return common
    return RunningShare(both, attended, unattended, True, seen)


def _held(share: float) -> float:
    return float(np.clip(share, LEAST, MOST))
