"""The bank of filters that follows stations' data through one mount after another."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from crib.arrays import Bools, Floats, Ints

#: A first-off farther from what was expected than this many deviations is a jump.
JUMP_SIGMAS: Final = 4.0
#: A second one confirms the jump where it lies within so many deviations of the first.
AGREE_SIGMAS: Final = 3.0

#: A first-off farther than this from what was expected, yet taken, may be the first of a
#: jump that mounting scatter hides: what is stated then allows for it.
DOUBT_SIGMAS: Final = 1.0
#: Chance of a jump that is then allowed for; 0.7 covers less, 0.95 is wider for no more.
DOUBTED_JUMP: Final = 0.9
#: First-offs, that one included, over which it is allowed for.
DOUBT_LASTS: Final = 2

#: What became of a first-off; see VERDICTS.
NONE, TAKEN, HELD, STEP, CONFIRMED, DROPPED, UNPLACED = range(7)

#: none: there was no first-off. taken: it moved the estimate. held_apart: a jump that waits
#: for a second first-off. taken_as_step: it agreed with the jump before it, the datum is now
#: there. confirmed: the jump that it agreed with. not_confirmed: a jump after which the next
#: first-off fitted the estimate again. fits_nowhere: a jump after which the next one fitted
#: neither.
VERDICTS: Final = (
    "none",
    "taken",
    "held_apart",
    "taken_as_step",
    "confirmed",
    "not_confirmed",
    "fits_nowhere",
)

#: Degrees of freedom of the heavy tail by which a first-off that fits nowhere widens the
#: scatter: it may, but no single slip of the keyboard drowns all that was learned.
_TAIL_FREEDOM: Final = 1.0


class DatumFilter:
    """Local level filters over (stations, grid points), with jumps held apart.

    Args:
        start: Datum on record, shape (stations,).
        start_var: Variance of the true datum about it.
        noise: Walk, scatter, log weight per grid point.
        jump: Variance of a jump, and the logarithms of the chances of one and of none.
    """

    def __init__(
        self,
        start: Floats,
        start_var: float,
        noise: tuple[Floats, ...],
        jump: tuple[float, float, float],
    ) -> None:
        walk, scatter, log_weights = noise
        shape = (start.size, walk.size)
        self.walk2, self.scatter2 = np.square(walk), np.square(scatter)
        self.log_weights = np.broadcast_to(log_weights, shape).copy()
        self.weights = np.exp(self.log_weights)
        self.mean = np.broadcast_to(start[:, None], shape).copy()
        self.var = np.full(shape, start_var)
        self.jump2, self.log_jump, self.log_stay = jump
        self.held = np.full(start.size, np.nan)
        self.held_var = np.zeros(start.size)
        #: Logarithm of the density of all looks so far that were taken.
        self.log_evidence = np.zeros(start.size)
        #: Looks for which a jump is still allowed for, and the belief should it be one.
        self.doubt_left = np.zeros(start.size, dtype=np.int64)
        self.open_mean, self.open_var = self.mean.copy(), self.var.copy()
        self.open_logs = self.log_weights.copy()

    def move(self) -> None:
        """The datum may have moved between two mounts."""
        self.var += self.walk2
        self.open_var += self.walk2

    def expect(self, look_var: Floats) -> tuple[Floats, Floats]:
        """What a look of that variance is expected to show, and its deviation, (stations,)."""
        return self.mixed(self.var + self.scatter2 + look_var[:, None])

    def mixed(self, var: Floats) -> tuple[Floats, Floats]:
        """Mean over the grid, and deviation about it for the given variances per point."""
        mean = np.einsum("sk,sk->s", self.weights, self.mean)
        spread = var + np.square(self.mean - mean[:, None])
        return mean, np.sqrt(np.einsum("sk,sk->s", self.weights, spread))

    def learned(self) -> tuple[Floats, Floats]:
        """Root mean square walk and scatter under the weights, shape (stations,)."""
        return np.sqrt(self.weights @ self.walk2), np.sqrt(self.weights @ self.scatter2)

    def look(self, seen: Floats, sigmas: Floats, look_var: Floats) -> tuple[Ints, Ints]:
        """Take one look per station, or hold it apart.

        Args:
            seen: What the first-off showed, shape (stations,); NaN where there was none.
            sigmas: How many deviations that lies from what was expected, same shape.
            look_var: Variance of measuring, same shape.

        Returns:
            What became of this look, and of the one that was held apart before it (NONE
            where none was).
        """
        there, waiting = ~np.isnan(seen), ~np.isnan(self.held)
        far = np.abs(sigmas)
        jump = there & (far > JUMP_SIGMAS)
        step = there & waiting
        if step.any():
            step &= self._agrees(seen, sigmas, look_var)
        held = jump & ~step
        now = np.where(step, STEP, np.where(held, HELD, np.where(there, TAKEN, NONE)))
        settled = waiting & there
        before = np.where(settled & ~step, np.where(jump, UNPLACED, DROPPED), NONE)
        before = np.where(step, CONFIRMED, before)
        if settled.any():
            self._scatters((before == UNPLACED) | (before == DROPPED))
            self._restart(step)
        self.doubt_left[held | step] = 0
        self._doubt(there, seen, look_var, there & ~held & ~step & (far > DOUBT_SIGMAS))
        self._update(there & ~held, seen, look_var)
        self.held = np.where(held, seen, np.where(there, np.nan, self.held))
        self.held_var = np.where(held, look_var, self.held_var)
        return now, before

    def _agrees(self, seen: Floats, sigmas: Floats, look_var: Floats) -> Bools:
        """Whether a look speaks for the one that was held apart rather than for the estimate.

        It lies near that one, nearer than to the estimate, and not at the estimate either.
        """
        scatter2 = self.weights @ self.scatter2
        pair = np.sqrt(2 * scatter2 + look_var + self.held_var)
        apart = np.abs(seen - self.held)
        with np.errstate(divide="ignore", invalid="ignore"):
            pair_sigmas = np.where(apart == 0, 0.0, apart / pair)
        far = np.abs(sigmas)
        agrees: Bools = (
            (pair_sigmas <= AGREE_SIGMAS) & (pair_sigmas < far) & (far > JUMP_SIGMAS / 2)
        )
        return agrees

    def _scatters(self, which: Bools) -> None:
        """Learn from a held look that fits nowhere how far looks scatter, not where."""
        if not which.any():
            return
        var = self.var[which] + self.scatter2 + self.held_var[which, None]
        off2 = np.square(self.held[which, None] - self.mean[which])
        density = -0.5 * np.log(var) - (_TAIL_FREEDOM + 1) / 2 * np.log1p(
            off2 / (_TAIL_FREEDOM * var)
        )
        self._weigh(which, density)

    def _restart(self, which: Bools) -> None:
        """Restart at the look that was held apart."""
        self.mean[which] = self.held[which, None]
        self.var[which] = self.held_var[which, None] + self.scatter2 + self.walk2

    def _update(self, which: Bools, seen: Floats, look_var: Floats) -> None:
        """Take looks as if the datum had only moved, and as if it had jumped, in one."""
        if which.any():
            chances = self.log_jump, self.log_stay
            mean, var, density = self._both_ways(which, seen, look_var, chances)
            self.mean[which], self.var[which] = mean, var
            self._weigh(which, density)

    def _doubt(self, there: Bools, seen: Floats, look_var: Floats, which: Bools) -> None:
        """Keep what would be believed if these looks were the first of a jump."""
        if self.jump2 == 0:
            return
        self.doubt_left -= there & (self.doubt_left > 0)
        on = there & ~which & (self.doubt_left > 0)
        if on.any():
            noise = self.scatter2 + look_var[on, None]
            off = seen[on, None] - self.open_mean[on]
            gain, self.open_var[on], density = _step(self.open_var[on], noise, off)
            self.open_mean[on] += gain * off
            self.open_logs[on] += density
        if which.any():
            chances = math.log(DOUBTED_JUMP), math.log1p(-DOUBTED_JUMP)
            mean, var, density = self._both_ways(which, seen, look_var, chances)
            self.open_mean[which], self.open_var[which] = mean, var
            self.open_logs[which] = self.log_weights[which] + density
            self.doubt_left[which] = DOUBT_LASTS

    def _both_ways(
        self, which: Bools, seen: Floats, look_var: Floats, chances: tuple[float, float]
    ) -> tuple[Floats, Floats, Floats]:
        """Kalman's step with and without a jump, joined: mean, variance, log density."""
        log_jump, log_stay = chances
        noise = self.scatter2 + look_var[which, None]
        off = seen[which, None] - self.mean[which]
        stay = _step(self.var[which], noise, off)
        leap = _step(self.var[which] + self.jump2, noise, off)
        density = np.logaddexp(log_stay + stay[2], log_jump + leap[2])
        jumped = np.exp(log_jump + leap[2] - density)
        gain = stay[0] + jumped * (leap[0] - stay[0])
        spread = jumped * (1 - jumped) * np.square((leap[0] - stay[0]) * off)
        var = stay[1] + jumped * (leap[1] - stay[1]) + spread
        return self.mean[which] + gain * off, var, density

    def _weigh(self, which: Bools, density: Floats) -> None:
        weighed = self.log_weights[which] + density
        total = np.logaddexp.reduce(weighed, axis=1)
        self.log_evidence[which] += total
        self.log_weights[which] = weighed - total[:, None]
        self.weights[which] = np.exp(self.log_weights[which])


def _step(var: Floats, noise: Floats, off: Floats) -> tuple[Floats, Floats, Floats]:
    """Gain, variance after the look, and log density of it; a variance never turns negative."""
    whole = var + noise
    certain = whole == 0  # nothing left to learn
    safe = np.where(certain, 1.0, whole)
    gain = np.where(certain, 0.0, var / safe)
    after = np.square(1 - gain) * var + np.square(gain) * noise
    density = -0.5 * (np.log(2 * np.pi * safe) + np.square(off) / safe)
    return gain, after, np.where(certain, 0.0, density)
