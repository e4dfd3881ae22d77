"""The cuts that a speed-life curve was seen to hold for; beyond them it is a guess."""

from __future__ import annotations

from dataclasses import dataclass

from crib.sentence import figure, sentence

#: Beyond the range by less than this share still counts as inside (rounding of a table).
_SLACK = 1e-6


@dataclass(frozen=True, slots=True)
class CurveRange:
    """Lowest and highest cutting speed, feed and depth that a curve holds for.

    Attributes:
        cutting_speed_m_min: Lowest and highest speed.
        feed_mm_rev: Lowest and highest feed; None where no feed was given.
        depth_mm: Lowest and highest depth of cut; None where no depth was given.
    """

    cutting_speed_m_min: tuple[float, float]
    feed_mm_rev: tuple[float, float] | None = None
    depth_mm: tuple[float, float] | None = None

    def outside(
        self,
        cutting_speed_m_min: float,
        feed_mm_rev: float | None = None,
        depth_mm: float | None = None,
    ) -> tuple[str, ...]:
        """What of a cut lies outside, a phrase each; empty when all lies inside.

        Examples:
            >>> CurveRange((80, 120)).outside(150)
            ('150 m/min lies outside 80 to 120 m/min',)
        """
        asked = (
            (cutting_speed_m_min, self.cutting_speed_m_min, "m/min"),
            (feed_mm_rev, self.feed_mm_rev, "mm/rev"),
            (depth_mm, self.depth_mm, sentence("mm of depth")),
        )
        return tuple(
            sentence(
                "{value} {unit} lies outside {held} to {held2} {unit}",
                value=figure(value, ".4g"),
                unit=unit,
                held=figure(held[0], ".4g"),
                held2=figure(held[1], ".4g"),
            )
            for value, held, unit in asked
            if value is not None
            and held is not None
            and not held[0] * (1 - _SLACK) <= value <= held[1] * (1 + _SLACK)
        )
