"""How often and how deep an edge goes over the work: passes, thread infeeds, pecks."""

from __future__ import annotations

import math
from typing import Final

from crib.cutting.kinematics import require_positive
from crib.cutting.operations import CutOperation
from crib.errors import OutsideModel
from crib.sentence import figure, sentence

_BY_DEPTH: Final = ("turn", "bore", "face")
_MOST_PASSES = 10_000


def thread_passes(depth_mm: float, first_depth_mm: float, spring_passes: int = 0) -> int:
    """Passes at constant chip area: depths ``d1 sqrt(i)``, then passes without infeed.

    Common practice of threading cycles (degression of the infeed by the square root), no
    single source.

    Raises:
        OutsideModel: A depth that is not above 0, or more than 10,000 passes.

    Examples:
        >>> thread_passes(0.614, 0.15, spring_passes=1)
        18
    """
    depth = require_positive(depth_mm, "depth_mm", most=100)
    first = require_positive(first_depth_mm, "first_depth_mm", most=100)
    return _counted(depth / first, 2, "first_depth_mm") + spring_passes


def thread_depths_mm(
    depth_mm: float, passes: int, first_depth_mm: float | None = None
) -> tuple[float, ...]:
    """Depth reached by each cutting pass of a thread, ``d1 sqrt(i)``, the last at full depth.

    Args:
        depth_mm: Depth of the thread, on the radius.
        passes: Cutting passes, spring passes apart.
        first_depth_mm: Depth of the first pass, d1; None: so deep that the passes just do,
            ``depth / sqrt(passes)``.

    Raises:
        OutsideModel: A depth that is not above 0, or a first pass so shallow that the last
            would have to cut more than its share.

    Examples:
        >>> [round(d, 3) for d in thread_depths_mm(0.6, 4)]
        [0.3, 0.424, 0.52, 0.6]
    """
    depth = require_positive(depth_mm, "depth_mm", most=100)
    count = int(require_positive(passes, "passes", most=_MOST_PASSES))
    first = depth / math.sqrt(count)
    if first_depth_mm is not None:
        first = require_positive(first_depth_mm, "first_depth_mm", most=100)
        needed = thread_passes(depth, first)
        if needed > count:
            raise OutsideModel(
                sentence(
                    "{count} passes that begin with {first} mm do not reach {depth} mm "
                    "at constant chip area; {needed} passes do.",
                    count=count,
                    first=figure(first, "g"),
                    depth=figure(depth, "g"),
                    needed=needed,
                ),
                errors=[
                    {"field": "passes", "detail": sentence("at least {needed}", needed=needed)}
                ],
            )
    return (*(min(depth, first * math.sqrt(i)) for i in range(1, count)), depth)


def radial_depth_mm(operation: CutOperation) -> float | None:
    """Metal taken off on the radius; None where a diameter is missing or nothing is cut.

    A start of 0 is no diameter.
    """
    start, end = operation.start_diameter_mm, operation.end_diameter_mm
    if not start or end is None or start == end:
        return None
    return abs(start - end) / 2


def known_thread_passes(operation: CutOperation) -> int | None:
    """Passes of a thread, spring passes included; None where nothing tells them.

    Raises:
        OutsideModel: So small a ``depth_mm`` that no number of passes is plausible.
    """
    if operation.passes is not None:
        return int(operation.passes) + operation.spring_passes
    total = radial_depth_mm(operation)
    if total and operation.depth_mm:
        return _counted(total / operation.depth_mm, 2, "depth_mm") + operation.spring_passes
    return None


def number_of_passes(operation: CutOperation) -> int:
    """Passes as given, or as the depths need them; 1 where nothing says otherwise.

    Raises:
        OutsideModel: So small a ``depth_mm`` that no number of passes is plausible.
    """
    if operation.kind == "thread":
        return known_thread_passes(operation) or 1
    if operation.passes is not None:
        return int(operation.passes)
    total = radial_depth_mm(operation)
    if operation.kind in ("turn", "bore") and total and operation.depth_mm:
        return _counted(total / operation.depth_mm, 1, "depth_mm")
    return 1


def pass_diameters_mm(operation: CutOperation, passes: int) -> list[float | None]:
    """The larger diameter in contact, pass by pass: passes of equal depth."""
    largest = operation.largest_diameter_mm
    start, end = operation.start_diameter_mm, operation.end_diameter_mm
    if operation.kind not in ("turn", "bore") or start is None or end is None:
        return [largest] * passes
    step = (end - start) / passes
    return [max(start + i * step, start + (i + 1) * step) for i in range(passes)]


def taylor_depth_mm(operation: CutOperation, passes: int) -> float | None:
    """Depth of cut as Taylor's extended equation takes it; None where the kind has none.

    It is that of the passes whose time is counted: where both diameters are given they are of
    equal depth, and ``depth_mm`` only says how many there are. Of all ways to divide a depth,
    equal passes wear most where wear grows less than in proportion to depth.
    """
    if operation.kind not in _BY_DEPTH:
        return None
    total = radial_depth_mm(operation) if operation.kind != "face" else None
    return total / passes if total else operation.depth_mm


def _counted(ratio: float, power: int, column: str) -> int:
    """A power of the ratio rounded up, forgiving rounding just above a whole number."""
    if ratio > _MOST_PASSES ** (1 / power):
        raise OutsideModel(
            sentence(
                "{column} is so small that more than {most_passes} passes are needed.",
                column=column,
                most_passes=figure(_MOST_PASSES, ","),
            ),
            errors=[
                {
                    "field": column,
                    "detail": sentence(
                        "needs more than {most_passes} passes",
                        most_passes=figure(_MOST_PASSES, ","),
                    ),
                }
            ],
        )
    return max(1, math.ceil(ratio**power - 1e-9))
