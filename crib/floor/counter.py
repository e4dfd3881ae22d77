"""How a part counter moves: forward, back to zero, over its end; and how fast it can."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from crib.arrays import Bools, Floats, Ints

#: Last figures before a counter starts again at zero: four, five and six decimal digits,
#: signed and unsigned 16 bit; common practice, no source.
LIMITS = (9_999, 32_767, 65_535, 99_999, 999_999)

#: Nothing is made faster than this share of its cycle time; the rest is a slip.
FASTEST_SHARE = 0.5

#: Least seconds per part where no cycle time is known [s]; common practice, no source.
FASTEST_UNKNOWN_S = 0.5

#: A drop counts as a rollover when the count before lay within this share of the end, with
#: and without a known cycle time, and the machine could make the rest at this share of its
#: cycle. Anything else is a reset: people reset counters far more often than they fill up.
_NEAR_END, _NEAR_END_UNKNOWN = 0.05, 0.01
_ROLLOVER_SHARE = 0.8

FORWARD, RESET, ROLLOVER = 0, 1, 2


class Pace(NamedTuple):
    """How fast a machine counts around readings.

    Attributes:
        cycle_s: Time of one cycle [s], shape (readings,).
        guessed: Whether it is a guess, shape (readings,).
        at_once: Parts that one cycle makes: the counter goes up by that many at once.
    """

    cycle_s: Floats
    guessed: Bools
    at_once: int = 1

    def take(self, which: Ints | Bools | slice) -> Pace:
        """The pace around some of the readings."""
        return Pace(self.cycle_s[which], self.guessed[which], self.at_once)


class Steps(NamedTuple):
    """What lies between readings: parts, kind of step, and whether it can be true."""

    parts: Ints
    kind: npt.NDArray[np.int8]
    plausible: Bools


def pace_of(cycle_s: npt.ArrayLike, size: int, at_once: int = 1) -> Pace:
    """Pace from cycle times [s], scalar or shape (size,); NaN, zero or less is unknown."""
    given = np.broadcast_to(np.asarray(cycle_s, dtype=np.float64), (size,))
    guessed = ~(given > 0) | ~np.isfinite(given)
    return Pace(np.where(guessed, FASTEST_UNKNOWN_S / FASTEST_SHARE, given), guessed, at_once)


def pair_pace(left: Pace, right: Pace) -> Pace:
    """Pace between two readings: the faster of both."""
    return Pace(
        np.minimum(left.cycle_s, right.cycle_s), left.guessed | right.guessed, left.at_once
    )


def most_parts(elapsed_us: Ints, pace: Pace) -> Floats:
    """Most parts that can lie between two readings, one cycle being under way at the first."""
    cycles = np.floor(elapsed_us / (1e6 * FASTEST_SHARE * pace.cycle_s)) + 1
    return np.asarray(cycles * pace.at_once)


def steps(before: Ints, after: Ints, elapsed_us: Ints, pace: Pace) -> Steps:
    """Parts between pairs of readings, shape (pairs,).

    ``after - before`` forward; on a drop near the counter's end ``limit + 1 - before + after``
    where the machine can have made that many; on any other drop ``after``, the parts since
    somebody set the counter to zero.
    """
    parts = after - before
    kind = np.zeros(parts.shape, dtype=np.int8)
    drop = np.flatnonzero(parts < 0)
    if drop.size:
        rolled = _rolled(before[drop], after[drop], elapsed_us[drop], pace.take(drop))
        parts[drop] = np.where(rolled >= 0, rolled, after[drop])
        kind[drop] = np.where(rolled >= 0, ROLLOVER, RESET)
    plausible = (elapsed_us > 0) & (parts <= most_parts(elapsed_us, pace))
    return Steps(parts, kind, plausible)


def _rolled(before: Ints, after: Ints, elapsed_us: Ints, pace: Pace) -> Ints:
    """Parts of a rollover, -1 where the drop is none."""
    near = np.where(pace.guessed, _NEAR_END_UNKNOWN, _NEAR_END)
    share = np.where(pace.guessed, FASTEST_SHARE, _ROLLOVER_SHARE)
    most = (elapsed_us / (1e6 * share * pace.cycle_s) + 1) * pace.at_once
    rolled = np.full(before.shape, -1, dtype=np.int64)
    for limit in LIMITS:
        gap = limit - before
        parts = gap + 1 + after
        fits = (gap >= 0) & (gap <= near * (limit + 1)) & (parts <= most)
        rolled = np.where((rolled < 0) & fits, parts, rolled)
    return rolled
