"""Patterns for the document: text that holds a number within bounds, a day, an instant.

The document has to say of a text what its field takes, and a schema knows no bounds of a
number that is written as text. A pattern does, digit by digit. All of them are plain enough
for the regular expressions of ECMA 262, Python and Rust alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from crib.records.plain_text import unseen

#: White space at the ends is no part of a text: what ``str.strip`` takes away.
_SPACE = r"\t-\r\x1c-\x20\x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000"


def _unseen_ranges() -> str:
    """What ``crib.records.plain_text`` refuses, as ranges of a character class."""
    found: list[list[int]] = []
    # ideographs, and unassigned ones, are neither controls nor marks of format
    for point in (*range(0x20000), *range(0xE0000, 0xE1000)):
        if 0xD800 <= point < 0xE000 or unseen(chr(point)) is None:
            continue  # half a letter cannot be sent, and no pattern can name it
        if found and found[-1][1] == point - 1:
            found[-1][1] = point
        else:
            found.append([point, point])
    return "".join("-".join(map(_in_class, dict.fromkeys(ends))) for ends in found)


def _in_class(point: int) -> str:
    return f"\\u{point:04x}" if point < 0x10000 else chr(point)


_CONTROL = _unseen_ranges()

_DAY_IN_YEAR = (
    "(0[13578]|1[02])-(0[1-9]|[12][0-9]|3[01])"
    "|(0[469]|11)-(0[1-9]|[12][0-9]|30)"
    "|02-(0[1-9]|1[0-9]|2[0-8])"
)

#: Not blank, and no control or invisible character but white space at its ends.
PLAIN_TEXT = (
    f"^[{_SPACE}]*[^{_SPACE}{_CONTROL}]([^{_CONTROL}]*[^{_SPACE}{_CONTROL}])?[{_SPACE}]*$"
)
#: Lines without a control or invisible character.
SEVERAL_LINES = rf"^(\r?\n|[^{_CONTROL}])*$"
#: Years in which an instant stays one whatever its offset.
INSTANT_YEARS = (
    "^(000[2-9]|00[1-9][0-9]|0[1-9][0-9]{2}|[1-8][0-9]{3}|9[0-8][0-9]{2}|99[0-8][0-9]|999[0-8])"
    r"-[0-9]{2}-[0-9]{2}[Tt ]([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9]([.][0-9]{1,9})?)?"
    "([Zz]|[+-]([01][0-9]|2[0-3]):?[0-5][0-9])$"
)
#: A time of day; 24:00 is the end of it.
TIME_OF_DAY = "^(([01]?[0-9]|2[0-3]):[0-5][0-9]|24:00)(:00)?$"


def day_pattern(years: str, leap_years: str, time: str) -> str:
    """Pattern of a calendar day and what may follow it.

    Args:
        years: Pattern of the years taken.
        leap_years: Pattern of those that have a 29 February.
        time: Pattern of what may follow the day.
    """
    return f"^({years}-({_DAY_IN_YEAR})|{leap_years}-02-29){time}$"


@dataclass(frozen=True, slots=True)
class Digits:
    """How a number is written.

    Attributes:
        whole: Most digits before the point.
        places: Most digits behind the point that may be other than zero.
        zeros: Zeros that may follow those.
        bare_point: Whether the digits behind the point, or before it, may be missing.
    """

    whole: int
    places: int = 0
    zeros: int = 0
    bare_point: bool = True


def number_pattern(least: Decimal | None, most: Decimal | None, digits: Digits) -> str:
    """Pattern of decimal text, without an exponent, from ``least`` to ``most``.

    Examples:
        >>> number_pattern(Decimal(0), Decimal(12), Digits(2))
        '^[+]?(0{0,1}0|0{0,1}[1-9]|1[0-1]|12)$|^-(0{0,1}0)$'
    """
    step = Decimal(1).scaleb(-digits.places)
    top = Decimal(10) ** digits.whole - step
    low = -top if least is None else max(least.quantize(step, ROUND_CEILING), -top)
    high = top if most is None else min(most.quantize(step, ROUND_FLOOR), top)
    found = []
    if high >= 0:
        found.append(f"^[+]?({'|'.join(_between(max(low, Decimal(0)), high, digits))})$")
    if low <= 0:
        found.append(f"^-({'|'.join(_between(max(-high, Decimal(0)), -low, digits))})$")
    return "|".join(found)


def _between(low: Decimal, high: Decimal, digits: Digits) -> Iterator[str]:
    """Alternatives for all values from ``low`` to ``high``, neither negative."""
    first, last = int(low), int(high)
    after_low, after_high = _behind(low, digits.places), _behind(high, digits.places)
    nines = "9" * digits.places
    if first == last:
        yield from _whole(first, after_low, after_high, digits)
        return
    yield from _whole(first, after_low, nines, digits)
    for alternative, length in _whole_range(first + 1, last - 1):
        yield _padded(alternative, length, digits) + _fraction("", "", digits)
    yield from _whole(last, "0" * digits.places, after_high, digits)


def _behind(value: Decimal, places: int) -> str:
    return str(int((value % 1).scaleb(places))).zfill(places) if places else ""


def _whole(number: int, low: str, high: str, digits: Digits) -> Iterator[str]:
    """One whole number with digits behind the point from ``low`` to ``high``."""
    fraction = _fraction(low, high, digits)
    yield _padded(str(number), len(str(number)), digits) + fraction
    if number == 0 and digits.places and digits.bare_point:
        yield f"[.]({_alternatives(low, high, digits)})"


def _padded(alternative: str, length: int, digits: Digits) -> str:
    more = digits.whole - length
    return (f"0{{0,{more}}}" if more > 0 else "") + alternative


def _fraction(low: str, high: str, digits: Digits) -> str:
    """The point and what follows; both may be missing where that means zero."""
    if not digits.places:
        return ""
    inner = _alternatives(low, high, digits)
    if low.strip("0"):
        return f"[.]({inner})"
    return f"([.]({inner})?)?" if digits.bare_point else f"([.]({inner}))?"


def _alternatives(low: str, high: str, digits: Digits) -> str:
    zeros = f"0{{0,{digits.zeros}}}" if digits.zeros else ""
    if not low.strip("0") and not high.strip("9"):
        return f"[0-9]{{1,{digits.places}}}{zeros}"
    if not high.strip("0"):
        return f"0{{1,{digits.places}}}{zeros}"
    return "|".join(_digits_between(low, high, zeros))


def _digits_between(low: str, high: str, zeros: str) -> Iterator[str]:
    """Alternatives of digits behind a point, trailing zeros left out or not."""
    if not low.strip("0") and not high.strip("9"):
        yield (f"[0-9]{{0,{len(low)}}}" if low else "") + zeros
        return
    if not high.strip("0"):
        yield f"0{{0,{len(low)}}}{zeros}"
        return
    first, last, rest = int(low[0]), int(high[0]), len(low) - 1
    if first == last:
        yield _digit(first, low[1:], high[1:], zeros)
        return
    yield _digit(first, low[1:], "9" * rest, zeros)
    if first + 1 <= last - 1:
        yield f"[{first + 1}-{last - 1}][0-9]{{0,{rest}}}{zeros}"
    yield _digit(last, "0" * rest, high[1:], zeros)


def _digit(digit: int, low: str, high: str, zeros: str) -> str:
    inner = "|".join(_digits_between(low, high, zeros))
    return f"{digit}({inner})" + ("" if low.strip("0") else "?")


def _whole_range(low: int, high: int) -> Iterator[tuple[str, int]]:
    """Alternatives of whole numbers from ``low`` to ``high``, each with its length."""
    while low <= high:
        length = len(str(low))
        end = min(high, 10**length - 1)
        yield from ((one, length) for one in _same_length(str(low), str(end)))
        low = end + 1


def _same_length(low: str, high: str) -> Iterator[str]:
    if low == high:
        yield low
        return
    same = 0
    while low[same] == high[same]:
        same += 1
    prefix, low, high = low[:same], low[same:], high[same:]
    rest = len(low) - 1
    first, last = int(low[0]), int(high[0])
    if rest == 0:
        yield f"{prefix}[{first}-{last}]"
        return
    if set(low[1:]) != {"0"}:
        yield from (f"{prefix}{one}" for one in _same_length(low, low[0] + "9" * rest))
        first += 1
    if set(high[1:]) != {"9"}:
        last -= 1
        upper = [f"{prefix}{one}" for one in _same_length(high[0] + "0" * rest, high)]
    else:
        upper = []
    if first <= last:
        yield f"{prefix}[{first}-{last}][0-9]{{{rest}}}"
    yield from upper
