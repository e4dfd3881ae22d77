"""Exact lengths: integers of 0.1 micrometre, their decimal strings, inches rounded once."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final, NewType

from crib.errors import Invalid
from crib.sentence import sentence

#: An exact length [0.1 µm]; never a float, never a bare int.
TenthsUm = NewType("TenthsUm", int)

TENTHS_UM_PER_MM: Final = 10_000

#: An inch in millimetres, exactly (international yard and pound agreement, 1959).
EXACT_MM_PER_IN: Final = Decimal("25.4")
MM_PER_IN: Final = float(EXACT_MM_PER_IN)
TENTHS_UM_PER_IN: Final = 254_000

#: Longest length that is taken for one [mm]; anything beyond is a slip of the keyboard.
LONGEST_MM = 100_000

_DECIMAL = re.compile(r"[+-]?(\d{1,9}(\.\d{0,12})?|\.\d{1,12})", re.ASCII)


def _decimal(text: str) -> Decimal:
    if not isinstance(text, str):
        raise Invalid(
            sentence(
                '{text} is a number; an exact length is written as text, like "12.3456".',
                text=repr(text),
            )
        )
    stripped = text.strip()
    if not _DECIMAL.fullmatch(stripped):
        raise Invalid(
            sentence("'{text}' is not a length: write it like 12.3456.", text=text[:40])
        )
    value = Decimal(stripped)
    if abs(value) > LONGEST_MM:
        raise Invalid(
            sentence(
                "'{text}' is longer than any tool: check the decimal point.", text=text[:40]
            )
        )
    return value


def tenths_um_from_mm(text: str) -> TenthsUm:
    """Read a length in millimetres exactly.

    Args:
        text: Decimal text [mm].

    Returns:
        The same length [0.1 µm].

    Raises:
        Invalid: Not a number, absurdly long, or finer than 0.1 µm (storing would round it).

    Examples:
        >>> tenths_um_from_mm("12.3456")
        123456
    """
    scaled = _decimal(text) * TENTHS_UM_PER_MM
    if scaled != scaled.to_integral_value():
        raise Invalid(
            sentence(
                "'{text}' mm is finer than 0.1 micrometre: give four places.", text=text[:40]
            )
        )
    return TenthsUm(int(scaled))


def tenths_um_from_in(text: str) -> TenthsUm:
    """Read a length in inches, rounded once to 0.1 µm, half to even.

    Examples:
        >>> tenths_um_from_in("0.48605")
        123457
    """
    scaled = _decimal(text) * TENTHS_UM_PER_IN
    return TenthsUm(int(scaled.to_integral_value(rounding=ROUND_HALF_EVEN)))


def mm_from_tenths_um(length_tenths_um: int) -> str:
    """Print an exact length as millimetres with four places; zero has no sign.

    Examples:
        >>> mm_from_tenths_um(-5), mm_from_tenths_um(0)
        ('-0.0005', '0.0000')
    """
    sign = "-" if length_tenths_um < 0 else ""
    whole, part = divmod(abs(length_tenths_um), TENTHS_UM_PER_MM)
    return f"{sign}{whole}.{part:04d}"


def nominal_mm_from_tenths_um(length_tenths_um: int) -> str:
    """Print a nominal as millimetres with three places; a fourth only where it is finer.

    Drawings and most controls take whole micrometres (common practice, no source).

    Examples:
        >>> nominal_mm_from_tenths_um(1_500_000), nominal_mm_from_tenths_um(-1_500_005)
        ('150.000', '-150.0005')
    """
    return mm_from_tenths_um(length_tenths_um).removesuffix("0")


def in_from_tenths_um(length_tenths_um: int) -> str:
    """Print an exact length as inches with five places, rounded once, half to even.

    Examples:
        >>> in_from_tenths_um(123456)
        '0.48605'
    """
    hundred_thousandths = (
        Decimal(length_tenths_um) * 100_000 / TENTHS_UM_PER_IN
    ).to_integral_value(rounding=ROUND_HALF_EVEN)
    number = int(hundred_thousandths)
    sign = "-" if number < 0 else ""
    whole, part = divmod(abs(number), 100_000)
    return f"{sign}{whole}.{part:05d}"
