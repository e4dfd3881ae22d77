"""What a law of life with a fixed shape has to offer: its likelihood in closed form.

Under each law ``w = ln life - u`` has a fixed distribution; ``u`` is the key's ln scale. The
log likelihood of a key's lives is kept as three sums, ``first``, ``second`` and ``constant``,
in a form of the law's own that is closed under addition. What is not of that form is matched
to it at the law known so far: same value, slope and curvature.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.conjugate import Moments


class Terms(NamedTuple):
    """What lives add to the sums of their key, arrays of shape (lives,) or (cells,)."""

    first: Floats
    second: Floats
    constant: Floats


class Plain(NamedTuple):
    """Lives whose end is known exactly, and lives that only reached an age.

    Attributes:
        cell: Cell of each, shape (lives,).
        cells: How many cells there are.
        log_age: ln age over the promise.
        worn: Weight with which each was worn out at that age.
        weight: Weight with which it counts.
    """

    cell: Ints
    cells: int
    log_age: Floats
    worn: Floats
    weight: Floats


class Form(Protocol):
    """A law of life with a fixed shape."""

    @property
    def steepness(self) -> float:
        """Weibull shape with the same spread of ln life."""
        ...

    @property
    def log_median(self) -> float:
        """``ln median`` over scale."""
        ...

    def log_alive(self, w: Floats) -> Floats:
        """``ln S(w)``."""
        ...

    def log_density(self, w: Floats) -> Floats:
        """``ln f(w)``, per unit of ln life."""
        ...

    def score(self, w: Floats) -> Floats:
        """``d ln f / d u``, u the ln scale."""
        ...

    def bend(self, w: Floats) -> Floats:
        """``-d2 ln f / d u2``."""
        ...

    def at_end(self, log_scale: Floats) -> Floats:
        """Ln life that hardly any edge reaches."""
        ...

    def plain(self, lives: Plain, log_scale: Floats) -> Terms:
        """Sums by cell of lives whose end or age is known; ``log_scale`` of each life's key."""
        ...

    def matched(self, value: Floats, slope: Floats, bend: Floats, log_scale: Floats) -> Terms:
        """Terms with this value, slope and curvature (from 0) at a ln scale."""
        ...

    def after(self, mean: Floats, variance: Floats, first: Floats, second: Floats) -> Moments:
        """Moments of ln scale after lives, from a normal prior; the constant left out."""
        ...

    def tempered(self, sums: Terms, variance: Floats | float) -> Terms:
        """Sums of cells as their key takes them: each cell has an effect of that variance."""
        ...

    def less(self, whole: Terms, part: Terms) -> tuple[Floats, Floats]:
        """First and second of what is left of sums without a part, but for rounding."""
        ...

    def ahead(self, mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
        """The two parameters of an edge's life where ln scale has these moments."""
        ...

    def hazard_ahead(self, log_age: Floats, one: Floats, two: Floats) -> Floats:
        """``-ln S`` of an edge with these parameters."""
        ...

    def hazard_below(self, log_age: Floats, hazard: Floats, one: float, two: float) -> Floats:
        """Chance that the cumulative hazard at an age is at most so much.

        What is not known is the ln scale alone. ``log_age`` of shape (ages,), ``hazard`` and
        the answer of shape (ages, columns).
        """
        ...

    def log_median_ahead(self, one: Floats, two: Floats) -> Floats:
        """Ln median life of an edge with these parameters."""
        ...


def of_survivors(form: Form, w: Floats) -> tuple[Floats, Floats, Floats]:
    """Value, slope and curvature of ``ln S`` in ln scale."""
    log_alive = form.log_alive(w)
    hazard = np.exp(np.minimum(form.log_density(w) - log_alive, 300.0))
    return log_alive, hazard, np.maximum(hazard * (hazard - form.score(w)), 0.0)
