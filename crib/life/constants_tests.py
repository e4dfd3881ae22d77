"""Lives at known cuts, checked: what a tool-life test or a shop's own edge contributes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeGuard

import numpy as np

from crib.arrays import Bools, Floats
from crib.errors import OutsideModel
from crib.life.taylor_range import CurveRange
from crib.sentence import figure, sentence, together, word

#: Lowest and highest value that a test can mean; beyond it is a slip of the keyboard. A life
#: of more than a million minutes is two years in cut without a pause.
_RANGES: Final = {
    "cutting_speed_m_min": (0.01, 10_000.0),
    "life_min": (1e-4, 1e6),
    "feed_mm_rev": (1e-5, 50.0),
    "depth_mm": (1e-5, 200.0),
}

#: Speeds, feeds and depths within this share of each other count as the same.
_SAME: Final = 0.02


@dataclass(frozen=True, slots=True)
class LifeTests:
    """Arrays of shape (tests,).

    Attributes:
        cutting_speed_m_min: Real cutting speeds.
        life_min: Minutes in cut reached.
        ended: True where the edge was worn out, False where it was taken out before.
        feed_mm_rev: Feeds; None where not given.
        depth_mm: Depths of cut; None where not given.
    """

    cutting_speed_m_min: Floats
    life_min: Floats
    ended: Bools
    feed_mm_rev: Floats | None = None
    depth_mm: Floats | None = None

    def __len__(self) -> int:
        return len(self.life_min)

    def _cuts(self) -> tuple[Floats, Floats | None, Floats | None]:
        return self.cutting_speed_m_min, self.feed_mm_rev, self.depth_mm

    def mean_cut(self) -> tuple[float, float | None, float | None]:
        """Geometric mean of speed, feed and depth over the lives that ended (all if none)."""
        rows = self.ended if self.ended.any() else ~self.ended

        def mean(cut: Floats | None) -> float | None:
            return None if cut is None else float(np.exp(np.log(cut[rows]).mean()))

        speed = float(np.exp(np.log(self.cutting_speed_m_min[rows]).mean()))
        return speed, mean(self.feed_mm_rev), mean(self.depth_mm)

    def log_cut(self) -> Floats:
        """``ln(v/v0), ln(f/f0), ln(d/d0)``, shape (tests, 3); 0 where not given."""
        found = np.zeros((len(self), 3))
        for column, (cut, mean) in enumerate(zip(self._cuts(), self.mean_cut(), strict=True)):
            if cut is not None and mean is not None:
                found[:, column] = np.log(cut / mean)
        return found

    def range(self) -> CurveRange:
        """Speeds, feeds and depths that the tests cover."""

        def ends(cut: Floats) -> tuple[float, float]:
            return float(cut.min()), float(cut.max())

        return CurveRange(
            ends(self.cutting_speed_m_min),
            None if self.feed_mm_rev is None else ends(self.feed_mm_rev),
            None if self.depth_mm is None else ends(self.depth_mm),
        )

    def why_untold(self, column: int) -> str:
        """Why the lives say little about the exponent of speed (0), feed (1) or depth (2)."""
        name = (word("speed"), word("feed"), sentence("depth of cut"))[column]
        logs = self.log_cut()[self.ended]
        if not len(logs):
            return sentence("none of them ran to its end")
        if float(np.ptp(logs[:, column])) <= _SAME:
            return sentence("all that ended were run at the same {name}", name=name)
        others = [other for other in range(3) if other != column and np.ptp(logs[:, other]) > 0]
        x = np.column_stack([np.ones(len(logs)), logs[:, others]])
        miss = logs[:, column] - x @ np.linalg.lstsq(x, logs[:, column], rcond=None)[0]
        if float(np.abs(miss).max()) <= _SAME:
            return sentence(
                "{name} changed only together with something else, or there are too few",
                name=name,
            )
        return sentence("the {name} changed too little, or there are too few", name=name)


def life_tests(
    cutting_speed_m_min: Sequence[float],
    life_min: Sequence[float],
    ended: Sequence[bool] | None = None,
    feed_mm_rev: Sequence[float | None] | None = None,
    depth_mm: Sequence[float | None] | None = None,
) -> LifeTests:
    """Tests from plain sequences, one entry each.

    Args:
        cutting_speed_m_min: Real cutting speeds.
        life_min: Minutes in cut reached.
        ended: False where an edge was taken out before it was worn; left out: all were worn.
        feed_mm_rev: Feeds; left out or None for every test: not given.
        depth_mm: Depths of cut, as the feeds.

    Raises:
        OutsideModel: No test, unequal lengths, a number that is not plausible, or a feed or
            depth that only some tests give; ``errors`` names each place.
    """
    count = len(life_min)
    if not count:
        raise OutsideModel(
            sentence(
                "Constants are estimated from at least one test; give speed and life of each."
            ),
            errors=[{"field": "tests", "detail": sentence("is empty")}],
        )
    marks = np.ones(count, dtype=bool) if ended is None else np.asarray(ended, dtype=bool)
    if len(marks) != count or len(cutting_speed_m_min) != count:
        raise OutsideModel(sentence("Every test needs one speed, one life and one ending."))
    errors: list[dict[str, str]] = []

    def column(name: str, values: Sequence[float | None]) -> Floats:
        errors.extend(_errors(name, values, count))
        given = [np.nan if value is None else value for value in values]
        return np.array(given, dtype=np.float64)

    speed = column("cutting_speed_m_min", cutting_speed_m_min)
    life = column("life_min", life_min)
    feed = column("feed_mm_rev", feed_mm_rev) if _told(feed_mm_rev) else None
    depth = column("depth_mm", depth_mm) if _told(depth_mm) else None
    if errors:
        said = together(
            "; ", (together(" ", (error["field"], error["detail"])) for error in errors[:5])
        )
        raise OutsideModel(
            sentence("These tests are not valid: {said}.", said=said), errors=errors
        )
    return LifeTests(speed, life, marks, feed, depth)


def _told(values: Sequence[float | None] | None) -> TypeGuard[Sequence[float | None]]:
    return values is not None and any(value is not None for value in values)


def _errors(name: str, values: Sequence[float | None], count: int) -> list[dict[str, str]]:
    low, high = _RANGES[name]
    errors = []
    if len(values) != count:
        raise OutsideModel(sentence("Give {name} for every test or for none.", name=name))
    for row, value in enumerate(values):
        field = f"tests.{row}.{name}"
        if value is None:
            errors.append(
                {"field": field, "detail": sentence("is missing; give it for all or for none")}
            )
        elif not low <= value <= high:
            errors.append(
                {
                    "field": field,
                    "detail": sentence(
                        "has to be from {low} to {high}",
                        low=figure(low, "g"),
                        high=figure(high, "g"),
                    ),
                }
            )
    return errors
