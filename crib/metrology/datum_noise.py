"""How much a station's datum may wander and scatter: the usual, and what its own tells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.sentence import sentence

#: Standard uncertainty of measuring a first part, as radius or length [mm]; common practice,
#: no source.
FIRST_OFF_UNCERTAINTY_MM = 0.002

#: Usual deviation of the datum on record from the true one [mm]; common practice, no source.
RECORD_DEVIATION_MM = 0.05

_LOG_STEP = 0.55

#: How much more a wide walk and a wide scatter weigh in what is stated.
OPEN_POWER = (1.0, 0.5)
#: No seat scatters by more than that of the record's deviation.
MOST_SCATTER_SHARE = 1.8

#: For a station that is known never to jump.
NO_JUMPS = (0.0, -math.inf, 0.0)


@dataclass(frozen=True, slots=True)
class DatumPrior:
    """What is believed of any station before its own first-offs; all in one unit [mm].

    Attributes:
        record_deviation: How far the datum on record usually lies from the true one.
        walk: Median over stations of the datum's move from one mount to the next.
        walk_spread: Standard deviation of the logarithm of that.
        scatter: Median over stations of how far a holder locates from where it should.
        scatter_spread: Standard deviation of the logarithm of that.
        points: Grid points of walk and of scatter.
        jump: How far a datum goes that jumps between two mounts (crash, new seat).
        jump_prob: Chance of that at a mount; common practice, no source.
    """

    record_deviation: float = RECORD_DEVIATION_MM
    walk: float = 0.001
    walk_spread: float = 0.8
    scatter: float = 0.003
    # so wide that a station which scatters by 0.02 mm is believed after few first-offs
    scatter_spread: float = 1.6
    points: tuple[int, int] = (7, 15)
    jump: float = 0.1
    jump_prob: float = 0.02

    def __post_init__(self) -> None:
        scales = (self.record_deviation, self.walk, self.scatter, self.jump)
        if not all(np.isfinite(scale) and scale > 0 for scale in scales):
            raise OutsideModel(
                sentence("The usual deviations of a datum must be finite and above zero.")
            )

    def scaled(self, factor: float) -> DatumPrior:
        """The same belief in another unit."""
        return DatumPrior(
            self.record_deviation * factor,
            self.walk * factor,
            self.walk_spread,
            self.scatter * factor,
            self.scatter_spread,
            self.points,
            self.jump * factor,
            self.jump_prob,
        )

    def leaps(self) -> tuple[float, float, float]:
        """Variance of a jump, and the logarithms of the chances of one and of none."""
        return self.jump**2, math.log(self.jump_prob), math.log1p(-self.jump_prob)

    def open_tilt(self) -> Floats:
        """What turns weights of the grid into those of a station of which nothing is known.

        Per step of the logarithm walk and scatter weigh ``OPEN_POWER`` of their size, up to
        ``MOST_SCATTER_SHARE`` of the record's deviation: an equal weight is what makes a
        Student's t of unknown scatter (Box and Tiao 1973, 2.2, from memory), and some more for
        the large covers the first two looks, where no scatter shows yet.

        Returns:
            Logarithms to add to the weights of ``grid``, shape (points,).
        """
        walk, scatter, log_weights = self.grid()
        tilt = OPEN_POWER[0] * np.log(walk) + OPEN_POWER[1] * np.log(scatter) - log_weights
        likely = scatter <= MOST_SCATTER_SHARE * self.record_deviation
        return np.where(likely, tilt, -np.inf)

    def grid(self) -> tuple[Floats, Floats, Floats]:
        """Walk and scatter at each point of the grid, and the logarithm of its weight.

        Returns:
            Three arrays of shape (points,): deviations in the unit of the belief, and log
            weights whose exponentials sum to one.
        """
        return _grid(self)


@lru_cache(maxsize=8)
def _grid(prior: DatumPrior) -> tuple[Floats, Floats, Floats]:
    walks, walk_weights = _points(prior.walk, prior.walk_spread, prior.points[0])
    scatters, scatter_weights = _points(prior.scatter, prior.scatter_spread, prior.points[1])
    walk, scatter = (part.ravel() for part in np.meshgrid(walks, scatters, indexing="ij"))
    log_weights = np.add.outer(walk_weights, scatter_weights).ravel()
    return walk, scatter, log_weights - np.logaddexp.reduce(log_weights)


def _points(median: float, spread: float, count: int) -> tuple[Floats, Floats]:
    """Points evenly apart in the logarithm about the median; log of a normal's density."""
    steps = (np.arange(count) - (count - 1) / 2) * _LOG_STEP
    return median * np.exp(steps), -0.5 * np.square(steps / spread)
