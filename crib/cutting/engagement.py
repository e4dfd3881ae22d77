"""Minutes in cut and length cut per part, at the speed that the spindle really reaches."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from crib.cutting.contradictions import check_operation
from crib.cutting.kinematics import (
    clamp_diameter_mm,
    feed_minutes,
    radial_cut,
    spindle_rpm,
    surface_speed_m_min,
)
from crib.cutting.operations import (
    CutOperation,
    SpeedLimits,
    lowest_limit,
)
from crib.cutting.passes import (
    known_thread_passes,
    number_of_passes,
    pass_diameters_mm,
    taylor_depth_mm,
)
from crib.errors import OutsideModel
from crib.sentence import figure, sentence, together

RADIAL: Final = ("face", "groove", "part_off")

# An edge in one cut for longer than a day: the feed was mistyped.
_LONGEST_MIN = 1440.0


@dataclass(frozen=True, slots=True)
class Engagement:
    """One operation's bite on its edge, per part.

    Attributes:
        spindle_rpm: Highest spindle speed reached in the cut; None when it is not known
            (only ``engaged_s`` given) or has no bound (to the centre without any limit).
        limited_by: Whose limit holds it there: machine, station, holder, tool, program; None.
        cutting_speed_m_min: The real reference speed: the fastest of the cut; None when it
            is not known.
        clamp_diameter_mm: Diameter below which the limit holds; None without limit or speed.
        engaged_min: Minutes in cut per part.
        equivalent_min: Minutes at the reference speed that wear the edge as much.
        length_cut_m: Path of the edge through metal [m]; None when the speed is unknown.
        passes: Number of passes.
        feed_mm_rev: The operation's feed, as Taylor's extended equation takes it.
        depth_mm: Depth of each pass on the radius, likewise; None where the kind has none.
    """

    spindle_rpm: float | None
    limited_by: str | None
    cutting_speed_m_min: float | None
    clamp_diameter_mm: float | None
    engaged_min: float
    equivalent_min: float
    length_cut_m: float | None
    passes: int
    feed_mm_rev: float | None = None
    depth_mm: float | None = None


@dataclass(frozen=True, slots=True)
class _Speeds:
    """What the program asks for and what may hold it back."""

    speed_m_min: float | None
    limit_rpm: float
    limited_by: str | None
    fixed_rpm: float | None

    def rpm_at(self, diameter_mm: float | None) -> tuple[float, str | None]:
        """Real spindle speed on a diameter, and whose limit it is."""
        if self.speed_m_min is not None and diameter_mm:
            wanted = spindle_rpm(self.speed_m_min, diameter_mm)
        elif self.fixed_rpm is not None:
            wanted = self.fixed_rpm
        else:
            return math.inf, None
        if wanted > self.limit_rpm:
            return self.limit_rpm, self.limited_by
        return wanted, None


def engage(
    operation: CutOperation, limits: SpeedLimits | None = None, taylor_n: float = 0.25
) -> Engagement:
    """Time and wear-equivalent time in cut of one operation on one part.

    - turn, bore: along the length, pass by pass from start to end diameter; the speed of a
      pass is taken on its larger diameter (ISO 3685 takes the uncut surface, from memory).
    - face, groove, part_off: along the radius at constant surface speed with the limit inside
      the cut; without an end diameter to the centre (a groove: by its depth).
    - drill, ream, tap: the length at the speed of the tool's diameter; a tap's way back and a
      drill's pecks cut nothing (common practice, no source).
    - thread: each pass over the length at the pitch; without passes from depths (first pass
      ``depth_mm``, constant chip area).
    - mill, saw: the path at feed per revolution times revolutions of the cutter.

    Args:
        operation: What is cut.
        limits: Greatest spindle speeds by name.
        taylor_n: Exponent that weighs slower parts of a cut.

    Raises:
        OutsideModel: Numbers that are not plausible, or columns missing without which the time
            is not known; the sentence names them.
    """
    check_operation(operation)
    if not (math.isfinite(taylor_n) and 0.01 <= taylor_n <= 2):
        raise OutsideModel(
            sentence(
                "Taylor's exponent n is {taylor_n}; it has to be from 0.01 to 2.",
                taylor_n=repr(taylor_n),
            ),
            facts={"quantity": "n", "range": sentence("0.01 to 2")},
            errors=[{"field": "n", "detail": sentence("from 0.01 to 2")}],
        )
    speeds = _speeds(operation, limits or {})
    if operation.engaged_s is not None:
        return _measured(operation, speeds, taylor_n)
    _refuse_missing(operation)
    if operation.kind in RADIAL:
        cut = _radial(operation, speeds, taylor_n)
    else:
        cut = _along(operation, speeds, taylor_n)
    _refuse_endless(cut, operation)
    share = operation.contact_share
    return replace(
        cut, engaged_min=cut.engaged_min * share, equivalent_min=cut.equivalent_min * share
    )


def _refuse_endless(cut: Engagement, operation: CutOperation) -> None:
    if cut.engaged_min <= _LONGEST_MIN:
        return
    raise OutsideModel(
        sentence(
            "The operation '{kind}' would be in cut for {engaged_min} minutes, more "
            "than a day; look at the feed and the speed.",
            kind=operation.kind,
            engaged_min=figure(cut.engaged_min, ".3g"),
        ),
        facts={"engaged_min": cut.engaged_min},
        errors=[
            {"field": "feed_mm_rev", "detail": sentence("is too small for the cut ever to end")}
        ],
    )


def _speeds(operation: CutOperation, limits: SpeedLimits) -> _Speeds:
    v, rpm = operation.cutting_speed_m_min, operation.spindle_rpm
    # Beside a surface speed the programmed spindle speed is the program's own limit.
    program = rpm if v is not None else None
    lowest, whose = lowest_limit(limits, program)
    return _Speeds(v, lowest, whose, rpm)


def _refuse_missing(operation: CutOperation) -> None:
    wanted = ["feed_mm_rev"]
    if operation.kind not in RADIAL:
        wanted.append("length_mm")
    missing = [name for name in wanted if getattr(operation, name) is None]
    if operation.spindle_rpm is None and operation.cutting_speed_m_min is None:
        missing.append(sentence("cutting_speed_m_min or spindle_rpm"))
    # Without a surface speed the revolutions alone give the time of a straight cut.
    needs_diameter = operation.kind in RADIAL or operation.spindle_rpm is None
    if needs_diameter and operation.largest_diameter_mm is None:
        missing.append("start_diameter_mm")
    if operation.kind == "groove" and operation.depth_mm is operation.end_diameter_mm is None:
        missing.append(sentence("end_diameter_mm or depth_mm"))
    if operation.kind == "thread" and known_thread_passes(operation) is None:
        missing.append("passes")
    if missing:
        raise OutsideModel(
            sentence(
                "The time in cut of the operation '{kind}' needs {missing}; fill in "
                "the columns, or engaged_s.",
                kind=operation.kind,
                missing=together(", ", missing),
            ),
            facts={"missing": missing},
            errors=[{"field": name, "detail": sentence("not given")} for name in missing],
        )


def _clamp(speeds: _Speeds) -> float | None:
    if speeds.speed_m_min is None or math.isinf(speeds.limit_rpm):
        return None
    return clamp_diameter_mm(speeds.speed_m_min, speeds.limit_rpm)


def _along(operation: CutOperation, speeds: _Speeds, taylor_n: float) -> Engagement:
    length, feed = operation.length_mm or 0.0, operation.feed_mm_rev or 1.0
    passes = number_of_passes(operation)
    # Pecks and regrips of a drill are no passes over metal.
    cuts = 1 if operation.kind == "drill" else passes
    rows = []
    for diameter in pass_diameters_mm(operation, cuts):
        rpm, whose = speeds.rpm_at(diameter)
        speed = surface_speed_m_min(rpm, diameter) if diameter else speeds.speed_m_min
        rows.append((rpm, whose, speed, feed_minutes(length, feed, rpm)))
    minutes = sum(row[3] for row in rows)
    fastest_rpm, whose = max((row[:2] for row in rows), key=lambda row: row[0])
    known = [(row[2], row[3]) for row in rows if row[2] is not None]
    reference = max((speed for speed, _ in known), default=None)
    equivalent, path = minutes, None
    if reference is not None:
        equivalent = sum(t * (speed / reference) ** (1 / taylor_n) for speed, t in known)
        path = sum(t * speed for speed, t in known)
    return Engagement(
        spindle_rpm=fastest_rpm,
        limited_by=whose,
        cutting_speed_m_min=reference,
        clamp_diameter_mm=_clamp(speeds),
        engaged_min=minutes,
        equivalent_min=equivalent,
        length_cut_m=path,
        passes=passes,
        feed_mm_rev=operation.feed_mm_rev,
        depth_mm=taylor_depth_mm(operation, passes),
    )


def radii_mm(operation: CutOperation) -> tuple[float, float]:
    """Outer and inner radius of a cut along the radius, 0 for the centre [mm]."""
    outer = (operation.largest_diameter_mm or 0.0) / 2
    given = [operation.start_diameter_mm, operation.end_diameter_mm]
    if None not in given:
        return outer, min(d for d in given if d is not None) / 2
    if operation.kind == "groove" and operation.depth_mm is not None:
        return outer, max(0.0, outer - operation.depth_mm)
    return outer, 0.0


def _radial(operation: CutOperation, speeds: _Speeds, taylor_n: float) -> Engagement:
    outer, inner = radii_mm(operation)
    if outer <= inner:
        raise OutsideModel(
            sentence(
                "The operation '{kind}' starts and ends on the same diameter; nothing "
                "is cut along the radius.",
                kind=operation.kind,
            ),
            errors=[
                {"field": "end_diameter_mm", "detail": sentence("equals start_diameter_mm")}
            ],
        )
    limit = speeds.limit_rpm
    v = speeds.speed_m_min
    if v is None:
        # Fixed revolutions: as a surface speed that the limit holds back from the start on.
        limit = speeds.rpm_at(None)[0]
        v = surface_speed_m_min(limit, 2 * outer)
    one = radial_cut(v, operation.feed_mm_rev or 1.0, outer, inner, limit, taylor_n)
    fastest, whose = speeds.rpm_at(2 * inner) if inner else (limit, speeds.limited_by)
    if speeds.speed_m_min is None:
        fastest, whose = speeds.rpm_at(None)
    passes = number_of_passes(operation)
    return Engagement(
        spindle_rpm=fastest if math.isfinite(fastest) else None,
        limited_by=whose,
        cutting_speed_m_min=one.speed_m_min,
        clamp_diameter_mm=_clamp(speeds),
        engaged_min=one.minutes * passes,
        equivalent_min=one.equivalent_min * passes,
        length_cut_m=one.length_m * passes,
        passes=passes,
        feed_mm_rev=operation.feed_mm_rev,
        depth_mm=taylor_depth_mm(operation, passes),
    )


def _measured(operation: CutOperation, speeds: _Speeds, taylor_n: float) -> Engagement:
    """The measured time; its wear per minute from the geometry as far as that is known."""
    minutes = (operation.engaged_s or 0.0) / 60
    diameter = operation.largest_diameter_mm
    has_speed = speeds.speed_m_min is not None or speeds.fixed_rpm is not None
    if not has_speed or (diameter is None and speeds.fixed_rpm is None):
        return Engagement(
            spindle_rpm=None,
            limited_by=None,
            cutting_speed_m_min=speeds.speed_m_min,
            clamp_diameter_mm=_clamp(speeds),
            engaged_min=minutes,
            equivalent_min=minutes,
            length_cut_m=speeds.speed_m_min and speeds.speed_m_min * minutes,
            passes=number_of_passes(operation),
            feed_mm_rev=operation.feed_mm_rev,
            depth_mm=taylor_depth_mm(operation, number_of_passes(operation)),
        )
    # Feed and length cancel in the ratios, so any will do where none is given.
    like = replace(
        operation,
        engaged_s=None,
        feed_mm_rev=operation.feed_mm_rev or 1.0,
        length_mm=operation.length_mm or 1.0,
    )
    outer, inner = radii_mm(like)
    if operation.kind == "groove" and operation.depth_mm is operation.end_diameter_mm is None:
        inner = outer  # how deep nobody knows: all the time at the speed of the outside
    radial = operation.kind in RADIAL and outer > inner
    cut = _radial(like, speeds, taylor_n) if radial else _along(like, speeds, taylor_n)
    scale = minutes / cut.engaged_min
    return replace(
        cut,
        engaged_min=minutes,
        equivalent_min=cut.equivalent_min * scale,
        length_cut_m=None if cut.length_cut_m is None else cut.length_cut_m * scale,
        feed_mm_rev=operation.feed_mm_rev,
    )
