"""Which way a tool nose points, where its centre lies, what a wrong radius does."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from crib.errors import Invalid
from crib.sentence import sentence


class TipVector(NamedTuple):
    """Nose centre from the control point in radii, X as radius; centre line from Z+ to X+."""

    dx: int
    dz: int
    centre_line_deg: int | None


#: RS-274 practice (fixtures/published/offsets.json names where it was seen). Other controls
#: number the quadrants differently: pass the machine's own map.
TIP_ORIENTATIONS: Mapping[int, TipVector] = {
    0: TipVector(0, 0, None),
    1: TipVector(1, -1, 135),
    2: TipVector(1, 1, 45),
    3: TipVector(-1, 1, 315),
    4: TipVector(-1, -1, 225),
    5: TipVector(0, -1, 180),
    6: TipVector(1, 0, 90),
    7: TipVector(0, 1, 0),
    8: TipVector(-1, 0, 270),
    9: TipVector(0, 0, None),
}


def tip_orientation_vector(
    orientation: int, numbering: Mapping[int, TipVector] = TIP_ORIENTATIONS
) -> TipVector:
    """Direction of the nose centre for a tip orientation.

    Raises:
        Invalid: The numbering has no such orientation.

    Examples:
        >>> tip_orientation_vector(2)
        TipVector(dx=1, dz=1, centre_line_deg=45)
    """
    if orientation not in numbering:
        known = ", ".join(str(number) for number in sorted(numbering))
        raise Invalid(
            sentence(
                "Tip orientation {orientation} is not known here: use one of {known}.",
                orientation=orientation,
                known=known,
            )
        )
    return numbering[orientation]
