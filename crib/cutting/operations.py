"""What an edge does to a part: one operation and the speed limits that hold for it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

from crib.errors import OutsideModel
from crib.sentence import figure, sentence, together, word

KINDS: Final = (
    "turn",
    "face",
    "bore",
    "groove",
    "part_off",
    "drill",
    "ream",
    "tap",
    "thread",
    "mill",
    "saw",
)
"""The columns of operations.csv name one of these."""

LIMITS: Final = ("machine", "station", "holder", "tool")
"""Whose greatest speed may hold the spindle back."""

SpeedLimits = Mapping[str, float | None]
"""Greatest spindle speed [1/min] by name of ``LIMITS``; None or absent: no limit known."""

# Least and greatest values that a turning shop can mean; beyond them it is a slip of the
# keyboard. The least keeps products of small numbers above the smallest float, too.
_LEAST = 1e-6
_MOST: Final = {
    "start_diameter_mm": 2_000.0,
    "end_diameter_mm": 2_000.0,
    "length_mm": 10_000.0,
    "feed_mm_rev": 50.0,
    "depth_mm": 200.0,
    "passes": 10_000.0,
    "cutting_speed_m_min": 10_000.0,
    "spindle_rpm": 1_000_000.0,
    "engaged_s": 86_400.0,
    "contact_share": 1.0,
    "spring_passes": 100.0,
}
_MAY_BE_ZERO: Final = ("start_diameter_mm", "end_diameter_mm", "spring_passes")
_WHOLE: Final = ("passes", "spring_passes")


@dataclass(frozen=True, slots=True)
class CutOperation:
    """One operation of one part, as a shop writes it down; None is not given.

    Attributes:
        kind: One of ``KINDS``.
        start_diameter_mm: Diameter before the cut; for drill, ream, tap, mill and saw the
            tool's own cutting diameter.
        end_diameter_mm: Diameter after the cut (0: to the centre).
        length_mm: Length fed per pass, lead-in included.
        feed_mm_rev: Feed per revolution; the pitch for tap and thread.
        depth_mm: Depth of cut on the radius; groove: depth of the groove; thread: first pass.
        passes: Number of passes (drill: pecks, which cut no metal twice; thread: spring
            passes apart).
        cutting_speed_m_min: Programmed surface speed.
        spindle_rpm: Programmed spindle speed; beside a cutting speed the program's own limit.
        engaged_s: Measured time in cut per part; overrides the computed one.
        contact_share: Share of the feed time in contact, for a feed that oscillates to break
            chips. That such a cut shortens no life is common practice, no source.
        spring_passes: Passes of a thread after the last infeed. They count as passes in cut:
            they wear less, but nobody says how much less.
    """

    kind: str
    start_diameter_mm: float | None = None
    end_diameter_mm: float | None = None
    length_mm: float | None = None
    feed_mm_rev: float | None = None
    depth_mm: float | None = None
    passes: int | None = None
    cutting_speed_m_min: float | None = None
    spindle_rpm: float | None = None
    engaged_s: float | None = None
    contact_share: float = 1.0
    spring_passes: int = 0

    @property
    def largest_diameter_mm(self) -> float | None:
        """The larger of the diameters given, None when neither is or both are 0."""
        given = [d for d in (self.start_diameter_mm, self.end_diameter_mm) if d]
        return max(given) if given else None


def wrong_columns(operation: CutOperation) -> list[tuple[str, str]]:
    """Every column whose value alone is not plausible, and why."""
    found = []
    for field in fields(operation):
        problem = None if field.name == "kind" else _problem(field.name, operation)
        if problem:
            found.append((field.name, problem))
    return found


def _problem(column: str, operation: CutOperation) -> str | None:
    value = getattr(operation, column)
    if value is None:
        return None
    most = _MOST[column]
    if isinstance(value, bool) or not isinstance(value, int | float):
        return sentence("is {value}, not a number", value=repr(value))
    zero = column in _MAY_BE_ZERO
    low = 0 if zero and value == 0 else _LEAST
    if not (math.isfinite(value) and low <= value <= most):
        least = sentence("0 or ") if zero else ""
        return sentence(
            "is {value}; it has to be {least}from {least2} to {most}",
            value=repr(value),
            least=least,
            least2=figure(_LEAST, "g"),
            most=figure(most, "g"),
        )
    if column in _WHOLE and value != int(value):
        return sentence("is {value}; it has to be a whole number", value=repr(value))
    return None


def lowest_limit(
    limits: SpeedLimits, program_rpm: float | None = None
) -> tuple[float, str | None]:
    """The lowest limit [1/min] and whose it is; infinity and None when there is none.

    Raises:
        OutsideModel: A name outside ``LIMITS`` or a limit that is not above 0.
    """
    lowest, whose = math.inf, None
    for name, rpm in limits.items():
        if name not in LIMITS:
            raise OutsideModel(
                sentence(
                    "'{name}' limits no spindle speed; take one of {limits}.",
                    name=name,
                    limits=together(", ", LIMITS),
                ),
                facts={"limit": name},
            )
        if rpm is None:
            continue
        if not (math.isfinite(rpm) and _LEAST <= rpm <= _MOST["spindle_rpm"]):
            fits = sentence(
                "from {least} to {spindle_rpm} revolutions per minute",
                least=figure(_LEAST, "g"),
                spindle_rpm=figure(_MOST["spindle_rpm"], "g"),
            )
            field = "spindle_max_rpm" if name == "machine" else f"{name}_max_rpm"
            raise OutsideModel(
                sentence(
                    "The speed limit of the {name} is {rpm}; it has to be {fits}.",
                    name=word(name),
                    rpm=repr(rpm),
                    fits=fits,
                ),
                facts={"limit": name},
                errors=[{"field": field, "detail": sentence("has to be {fits}", fits=fits)}],
            )
        if rpm < lowest:
            lowest, whose = rpm, word(name)
    if program_rpm is not None and program_rpm < lowest:
        return program_rpm, word("program")
    return lowest, whose
