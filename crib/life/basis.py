"""What a forecast rests on: lives seen, prior and the life of a new edge."""

from __future__ import annotations

from dataclasses import dataclass

from crib.life.observations import Ints
from crib.life.taylor import Floats


@dataclass(frozen=True, slots=True)
class Basis:
    """What a forecast rests on, arrays of shape (keys asked,).

    Attributes:
        worn: Lives ended by wear.
        broken: Lives ended by breakage.
        censored: Edges taken out early.
        promised: Life that constants or guess promise [wear units].
        prior_scale: Scale of life as like keys say it, before the key's own [wear units].
        life_p10: Wear-out life of a new edge that 10 % do not reach.
        life_p50: Its median.
        life_p90: Reached by 10 % only; p10 to p90 is the 80 % interval.
    """

    worn: Ints
    broken: Ints
    censored: Ints
    promised: Floats
    prior_scale: Floats
    life_p10: Floats
    life_p50: Floats
    life_p90: Floats
