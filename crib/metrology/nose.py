"""Which way a tool nose points, where its centre lies, what a wrong radius does."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from crib.errors import Invalid, OutsideModel
from crib.sentence import sentence
from crib.units import TenthsUm


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


def nose_centre_tenths_um(
    orientation: int,
    radius_tenths_um: int,
    numbering: Mapping[int, TipVector] = TIP_ORIENTATIONS,
) -> tuple[TenthsUm, TenthsUm]:
    """Nose centre from the control point: X as radius, Z [0.1 µm]."""
    vector = tip_orientation_vector(orientation, numbering)
    return TenthsUm(vector.dx * radius_tenths_um), TenthsUm(vector.dz * radius_tenths_um)


def taper_error_mm(radius_mm: float, taper_deg: float) -> tuple[float, float]:
    """How far a taper is off where the control leaves the nose radius out.

    ``dz = r (1 - tan(theta / 2))``, ``dx = dz tan(theta)``. Two radii that differ by ``r``
    differ by the same amount.

    Args:
        radius_mm: Nose radius, or the difference of two [mm].
        taper_deg: Angle between the taper and Z, 0 to 90 exclusive [deg].

    Returns:
        Error along X as radius and along Z [mm].

    Raises:
        OutsideModel: An angle outside that range or a negative radius.
    """
    if not 0 < taper_deg < 90 or not radius_mm >= 0:
        raise OutsideModel(
            sentence("A taper lies between 0 and 90 degrees, a radius is not negative.")
        )
    theta = math.radians(taper_deg)
    dz_mm = radius_mm * (1 - math.tan(theta / 2))
    return dz_mm * math.tan(theta), dz_mm
