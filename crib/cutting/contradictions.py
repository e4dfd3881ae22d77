"""Which columns of an operation contradict each other, and what would be right."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from crib.cutting.operations import KINDS, CutOperation, wrong_columns
from crib.cutting.passes import radial_depth_mm
from crib.errors import OutsideModel
from crib.sentence import figure, sentence, together

# Room for diameters and depths that were rounded on paper, or that came from inches.
_ROUNDED_MM = 0.005
_ROUNDED_SHARE = 0.02

#: Greatest feed [mm/rev], and as a share of the cutting diameter. Common practice, no source:
#: drills are fed at 0.01 to 0.04 of their diameter a revolution; reamers and cutters have more
#: edges. For taps it is the pitch: ISO 261 ends at 6 mm, and its coarsest pitch is a quarter
#: of the diameter (from memory); trapezoidal threads are coarser.
_MOST_FEED: Final[dict[str, tuple[float, float | None]]] = {
    "turn": (5.0, None),
    "face": (5.0, None),
    "bore": (5.0, None),
    "groove": (2.0, None),
    "part_off": (2.0, None),
    "drill": (2.0, 0.15),
    "ream": (5.0, 0.25),
    "tap": (8.0, 0.5),
    "thread": (50.0, 3.0),
    "mill": (10.0, 1.0),
    "saw": (10.0, 1.0),
}


class Contradiction(NamedTuple):
    """What is wrong at which column; ``reason`` follows the column's value in a sentence."""

    column: str
    reason: str
    right: str


def check_operation(operation: CutOperation) -> None:
    """Refuse an operation whose numbers are not plausible, alone or together.

    Raises:
        OutsideModel: Every column that is wrong, in the sentence and in ``errors``.
    """
    if operation.kind not in KINDS:
        raise OutsideModel(
            sentence(
                "'{kind}' is not a kind of operation; take one of {kinds}.",
                kind=operation.kind,
                kinds=together(", ", KINDS),
            ),
            facts={"kind": operation.kind},
            errors=[
                {
                    "field": "kind",
                    "detail": sentence("one of {kinds}", kinds=together(", ", KINDS)),
                }
            ],
        )
    wrong = wrong_columns(operation) or [
        (one.column, together("; ", (one.reason, one.right)))
        for one in contradictions(operation)
    ]
    if wrong:
        said = together("; ", (together(" ", one) for one in wrong))
        raise OutsideModel(
            sentence(
                "The operation '{kind}' is not valid: {said}.", kind=operation.kind, said=said
            ),
            errors=[{"field": column, "detail": why} for column, why in wrong],
        )


def contradictions(operation: CutOperation) -> list[Contradiction]:
    """Every way in which the columns of an operation contradict each other.

    Columns that are empty contradict nothing, but for a groove whose depth nobody knows.

    Examples:
        >>> cut = CutOperation("turn", 12, 9, depth_mm=0.5, passes=1)
        >>> [(one.column, one.right) for one in contradictions(cut)]
        [('passes', 'write 3 passes, or depth_mm 1.5')]
    """
    found = [*_direction(operation), *_feed(operation), *_past_axis(operation)]
    if operation.spring_passes and operation.kind != "thread":
        found.append(
            Contradiction(
                "spring_passes",
                sentence("belong to threads only"),
                sentence("leave them out here"),
            )
        )
    if found:
        return found
    if operation.kind in ("turn", "bore"):
        found += _layers(operation)
    elif operation.kind == "thread":
        found += _thread(operation)
    elif operation.kind == "groove":
        found += _groove(operation)
    return found


def _direction(operation: CutOperation) -> list[Contradiction]:
    kind, start, end = operation.kind, operation.start_diameter_mm, operation.end_diameter_mm
    if not start or end is None:
        return []
    found = []
    if kind == "turn" and end > start:
        found.append(
            Contradiction(
                "end_diameter_mm",
                sentence(
                    "is larger than start_diameter_mm {start}, but turning makes a "
                    "diameter smaller",
                    start=figure(start, "g"),
                ),
                sentence("swap the two diameters, or write kind bore"),
            )
        )
    if kind == "part_off" and end > start:
        found.append(
            Contradiction(
                "end_diameter_mm",
                sentence(
                    "is larger than start_diameter_mm {start}, but parting off goes inwards",
                    start=figure(start, "g"),
                ),
                sentence("swap the two diameters"),
            )
        )
    if kind == "bore" and end < start:
        found.append(
            Contradiction(
                "end_diameter_mm",
                sentence(
                    "is smaller than start_diameter_mm {start}, but boring makes a hole larger",
                    start=figure(start, "g"),
                ),
                sentence("swap the two diameters, or write kind turn"),
            )
        )
    # a skim over the same diameter is no contradiction, unless it says how deep it goes
    plunges = kind in ("face", "groove", "part_off")
    layered = kind in ("turn", "bore", "thread") and operation.depth_mm
    if end == start and (plunges or layered):
        found.append(
            Contradiction(
                "end_diameter_mm",
                sentence("is the same diameter as start_diameter_mm, so nothing is cut"),
                sentence("write the diameters before and after the cut"),
            )
        )
    return found


def _feed(operation: CutOperation) -> list[Contradiction]:
    feed, diameter = operation.feed_mm_rev, operation.largest_diameter_mm
    most, share = _MOST_FEED[operation.kind]
    if share and diameter:
        most = min(most, share * diameter)
    if feed is None or feed <= most * (1 + 1e-9):
        return []
    if operation.kind in ("tap", "thread"):
        reason = sentence("is not a plausible pitch on this diameter")
        return [
            Contradiction(
                "feed_mm_rev",
                reason,
                sentence("write the pitch in mm, at most {most}", most=figure(most, ".4g")),
            )
        ]
    reason = sentence(
        "is not a plausible feed of kind {kind} on this diameter", kind=operation.kind
    )
    right = sentence(
        "write the feed in mm per revolution, at most {most}", most=figure(most, ".4g")
    )
    return [Contradiction("feed_mm_rev", reason, right)]


def _past_axis(operation: CutOperation) -> list[Contradiction]:
    depth, start = operation.depth_mm, operation.start_diameter_mm
    if operation.kind not in ("turn", "groove", "part_off") or depth is None or not start:
        return []
    radius = max(start, operation.end_diameter_mm or 0.0) / 2
    if depth <= radius * (1 + 1e-9):
        return []
    reason = sentence(
        "reaches past the axis: the radius is {radius}", radius=figure(radius, "g")
    )
    return [Contradiction("depth_mm", reason, sentence("write the depth on the radius"))]


def _layers(operation: CutOperation) -> list[Contradiction]:
    total, depth, passes = radial_depth_mm(operation), operation.depth_mm, operation.passes
    if not total or depth is None:
        return []
    start, end = operation.start_diameter_mm or 0.0, operation.end_diameter_mm or 0.0
    if depth > _up(total):
        return [
            Contradiction(
                "depth_mm",
                sentence(
                    "is more than there is between {start} and {end}: {total} on the radius",
                    start=figure(start, "g"),
                    end=figure(end, "g"),
                    total=figure(total, ".4g"),
                ),
                sentence(
                    "write the depth on the radius, at most {total}, or leave it empty",
                    total=figure(total, ".4g"),
                ),
            )
        ]
    if passes is None or _up(passes * depth) >= total:
        return []
    reached = start + (2 if end > start else -2) * passes * depth
    needed = math.ceil(total / depth - 1e-9)
    return [
        Contradiction(
            "passes",
            sentence(
                "at depth_mm {depth} lead from {start} to {reached}, not to {end}",
                depth=figure(depth, "g"),
                start=figure(start, "g"),
                reached=figure(reached, ".4g"),
                end=figure(end, "g"),
            ),
            sentence(
                "write {needed} passes, or depth_mm {total}",
                needed=needed,
                total=figure(total / passes, ".4g"),
            ),
        )
    ]


def _thread(operation: CutOperation) -> list[Contradiction]:
    total, first, passes = radial_depth_mm(operation), operation.depth_mm, operation.passes
    pitch = operation.feed_mm_rev
    if not total:
        return []
    found = []
    if pitch is not None and _up(pitch) < total:
        found.append(
            Contradiction(
                "feed_mm_rev",
                sentence(
                    "is too fine a pitch for a thread {total} deep", total=figure(total, ".4g")
                ),
                sentence("write the pitch in mm per revolution, or correct the diameters"),
            )
        )
    if first is None:
        return found
    if first > _up(total):
        found.append(
            Contradiction(
                "depth_mm",
                sentence(
                    "is more than the whole thread is deep: {total}", total=figure(total, ".4g")
                ),
                sentence("write the depth of the first pass, or leave it empty"),
            )
        )
    # No later pass of a thread goes deeper than the first: its chip is wider already.
    elif passes is not None and _up(passes * first) < total:
        needed = math.ceil((total / first) ** 2 - 1e-9)
        found.append(
            Contradiction(
                "passes",
                sentence(
                    "with a first pass of {first} reach {passes} at most; the thread is "
                    "{total} deep",
                    first=figure(first, "g"),
                    passes=figure(passes * first, ".4g"),
                    total=figure(total, ".4g"),
                ),
                sentence(
                    "write {needed} passes (constant chip area), or leave them empty",
                    needed=needed,
                ),
            )
        )
    return found


def _groove(operation: CutOperation) -> list[Contradiction]:
    depth, total = operation.depth_mm, radial_depth_mm(operation)
    timed = operation.cutting_speed_m_min or operation.spindle_rpm
    meant = operation.start_diameter_mm and operation.feed_mm_rev and timed
    if depth is None and operation.end_diameter_mm is None:
        if not meant or operation.engaged_s is not None:
            return []
        return [
            Contradiction(
                "end_diameter_mm",
                sentence("and depth_mm are both empty, so nobody knows how deep the groove is"),
                sentence("write one of them (end_diameter_mm 0 goes to the centre)"),
            )
        ]
    if depth and total and (_up(depth) < total or _up(total) < depth):
        reason = sentence(
            "does not fit the diameters: they make a groove {total} deep",
            total=figure(total, ".4g"),
        )
        return [Contradiction("depth_mm", reason, sentence("leave one of them empty"))]
    return []


def _up(length_mm: float) -> float:
    """The longest that may have been rounded to a length."""
    return length_mm * (1 + _ROUNDED_SHARE) + _ROUNDED_MM
