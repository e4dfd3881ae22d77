"""Letters and numbers of ISO 1832 (inserts) and ISO 5608 (turning holders).

Values from memory of the standards, save inscribed circles, thicknesses, clearances and
tolerances, which were seen in charts that cite ISO 1832:2012.
"""

from __future__ import annotations

#: Included angle [deg]; None: round. Only shapes whose size numbers are below.
SHAPE_DEG: dict[str, float | None] = {
    "C": 80.0,
    "D": 55.0,
    "R": None,
    "S": 90.0,
    "T": 60.0,
    "V": 35.0,
    "W": 80.0,
}
CORNERS = {"C": 2, "D": 2, "S": 4, "T": 3, "V": 2, "W": 3}
CLEARANCE_DEG = {
    "A": 3.0,
    "B": 5.0,
    "C": 7.0,
    "D": 15.0,
    "E": 20.0,
    "F": 25.0,
    "G": 30.0,
    "N": 0.0,
    "P": 11.0,
}

#: Limits on d, m, s, each the lowest and highest plus-minus value [mm].
Range = tuple[float, float]
TOLERANCE: dict[str, tuple[Range, Range, Range]] = {
    "A": ((0.025, 0.025), (0.005, 0.005), (0.025, 0.025)),
    "C": ((0.025, 0.025), (0.013, 0.013), (0.025, 0.025)),
    "E": ((0.025, 0.025), (0.025, 0.025), (0.025, 0.025)),
    "F": ((0.013, 0.013), (0.005, 0.005), (0.025, 0.025)),
    "G": ((0.025, 0.025), (0.025, 0.025), (0.13, 0.13)),
    "H": ((0.013, 0.013), (0.013, 0.013), (0.025, 0.025)),
    "J": ((0.05, 0.15), (0.005, 0.005), (0.025, 0.025)),
    "K": ((0.05, 0.15), (0.013, 0.013), (0.025, 0.025)),
    "L": ((0.05, 0.15), (0.025, 0.025), (0.025, 0.025)),
    "M": ((0.05, 0.15), (0.08, 0.20), (0.13, 0.13)),
    "N": ((0.05, 0.15), (0.08, 0.20), (0.025, 0.025)),
    "U": ((0.08, 0.25), (0.13, 0.38), (0.13, 0.13)),
}
#: Class M by inscribed circle: d; m at 60 degrees and more, at 55, at 35 [mm].
CLASS_M: dict[float, tuple[float, float, float | None, float | None]] = {
    6.35: (0.05, 0.08, 0.11, 0.16),
    9.525: (0.05, 0.08, 0.11, 0.16),
    12.7: (0.08, 0.13, 0.15, None),
    15.875: (0.10, 0.15, 0.18, None),
    19.05: (0.10, 0.15, 0.18, None),
    25.4: (0.13, 0.18, None, None),
}

#: Type: whether both faces cut when the clearance is N.
BOTH_FACES = {
    "A": True,
    "F": True,
    "G": True,
    "M": False,
    "N": True,
    "R": False,
    "T": False,
    "U": True,
    "W": False,
}

_THREE = {"06": 6.35, "09": 9.525, "12": 12.7, "15": 15.875, "19": 19.05}
#: Inscribed circle [mm] by shape and size number.
CIRCLE_MM: dict[str, dict[str, float]] = {
    "S": {**_THREE, "07": 7.94},
    "C": {
        "03": 3.97,
        "04": 4.76,
        "05": 5.56,
        "06": 6.35,
        "08": 7.94,
        "09": 9.525,
        "12": 12.7,
        "16": 15.875,
        "19": 19.05,
    },
    "D": {
        "04": 3.97,
        "05": 4.76,
        "06": 5.56,
        "07": 6.35,
        "09": 7.94,
        "11": 9.525,
        "15": 12.7,
        "19": 15.875,
    },
    "V": {"08": 4.76, "09": 5.56, "11": 6.35, "13": 7.94, "16": 9.525, "22": 12.7},
    "T": {
        "06": 3.97,
        "08": 4.76,
        "09": 5.56,
        "11": 6.35,
        "16": 9.525,
        "22": 12.7,
        "27": 15.875,
    },
    "W": {
        "02": 3.97,
        "L3": 4.76,
        "03": 5.56,
        "04": 6.35,
        "05": 7.94,
        "06": 9.525,
        "08": 12.7,
        "10": 15.875,
    },
    "R": {f"{d:02d}": float(d) for d in (6, 8, 10, 12, 16, 20, 25)},
}
THICKNESS_MM = {
    "01": 1.59,
    "T1": 1.98,
    "02": 2.38,
    "03": 3.18,
    "T3": 3.97,
    "04": 4.76,
    "05": 5.56,
    "06": 6.35,
    "07": 7.94,
    "09": 9.52,
}
RADIUS_MM = {
    "00": 0.0,
    "M0": 0.0,
    "01": 0.1,
    "02": 0.2,
    "04": 0.4,
    "08": 0.8,
    "12": 1.2,
    "16": 1.6,
}

CLAMPING = {"C": "top", "M": "top and pin", "P": "pin", "S": "screw"}
#: Edge angle [deg] of a holder's style.
STYLE_DEG = {
    "A": 90.0,
    "B": 75.0,
    "C": 90.0,
    "D": 45.0,
    "E": 60.0,
    "F": 90.0,
    "G": 90.0,
    "H": 107.5,
    "J": 93.0,
    "K": 75.0,
    "L": 95.0,
    "M": 50.0,
    "N": 63.0,
    "P": 117.5,
    "R": 75.0,
    "S": 45.0,
    "T": 60.0,
    "U": 93.0,
    "V": 72.5,
    "W": 60.0,
    "Y": 85.0,
}
HAND = {"R": "right", "L": "left", "N": "neutral"}
LENGTH_MM: dict[str, float | None] = {
    "A": 32.0,
    "B": 40.0,
    "C": 50.0,
    "D": 60.0,
    "E": 70.0,
    "F": 80.0,
    "G": 90.0,
    "H": 100.0,
    "J": 110.0,
    "K": 125.0,
    "L": 140.0,
    "M": 150.0,
    "N": 160.0,
    "P": 170.0,
    "Q": 180.0,
    "R": 200.0,
    "S": 250.0,
    "T": 300.0,
    "U": 350.0,
    "V": 400.0,
    "W": 450.0,
    "Y": 500.0,
    "X": None,
}
