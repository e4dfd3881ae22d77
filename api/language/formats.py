"""Instants, numbers and lengths as the reader wants to see them, by the language's locale."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from api.http.site import this_site
from api.language.catalogue import locale_of
from api.language.preferences import preferences
from crib.clock import comes_twice
from crib.units import in_from_tenths_um, mm_from_tenths_um, nominal_mm_from_tenths_um


def _written(at: date, skeleton: str) -> str:
    from babel.dates import format_skeleton

    text: str = format_skeleton(skeleton, at, locale=locale_of(preferences().language))
    return text.replace("\u202f", " ")


def in_locale(plain: str, language: str) -> str:
    """A number written with points and commas, as a language writes it.

    Thousands stand apart by a narrow space (ISO 80000-1): a point or comma there would be read
    as a decimal mark by readers of another language.
    """
    from babel.numbers import get_decimal_symbol

    locale = locale_of(language)
    decimal: str = get_decimal_symbol(locale)
    percent = locale.percent_formats[None].pattern.removeprefix("#,##0")
    text = plain.replace(",", "\u202f").replace(".", decimal)
    return text.replace(" %", "%").replace("%", percent)


def site_zone() -> str:
    """Name of the zone in which pages show times, such as Europe/Berlin."""
    return this_site().in_zone.time_zone.key


def _at_site(at: datetime) -> datetime:
    return at.astimezone(this_site().in_zone.time_zone)


def local_clock(at: datetime | None) -> str:
    """The time of day at the site, such as 06:05 or 6:05 am; nothing where there is none.

    The zone's name follows in the hour that the clocks show twice.
    """
    if at is None:
        return ""
    there = _at_site(at)
    text = _written(there, "Hm" if preferences().hours == 24 else "hm")
    return f"{text} {there.tzname()}" if comes_twice(there) else text


def local_day(at: datetime | date | None, *, year: bool = False) -> str:
    """The day at the site, such as Thu 26 Nov; nothing where there is none."""
    if at is None:
        return ""
    there = _at_site(at) if isinstance(at, datetime) else at
    return _written(there, "yMMMEd" if year else "MMMEd")


def local_weekday(at: datetime) -> str:
    """The weekday at the site, such as Thu."""
    return _written(_at_site(at), "E")


def local_time(at: datetime | None, *, year: bool = False) -> str:
    """Day and time of day at the site, such as Thu 26 Nov 06:05; nothing without one."""
    if at is None:
        return ""
    return f"{local_day(at, year=year)} {local_clock(at)}"


def number(value: float | Decimal | None, digits: int | None = 0) -> str:
    """A number with so many places, or as many as it has; nothing where there is none."""
    if value is None:
        return ""
    plain = f"{value:z,g}" if digits is None else f"{value:z,.{digits}f}"
    return in_locale(plain, preferences().language)


def small_length(length_mm: float | None, *, unit: bool = True) -> str:
    """A small measured length in the reader's unit: µm with 1 place, or inches with 5.

    Args:
        length_mm: The length [mm]; nothing is written where there is none.
        unit: Whether the unit stands behind it.
    """
    if length_mm is None:
        return ""
    if preferences().unit == "in":
        return number(length_mm / 25.4, 5) + (" in" if unit else "")
    return number(length_mm * 1000, 1) + (" µm" if unit else "")


def length(tenths_um: int | None, *, sign: bool = False, unit: bool = True) -> str:
    """A measured length in the reader's unit: mm with 4 places, or inches with 5.

    Not for offsets to key in: those keep the control's own unit and text.

    Args:
        tenths_um: The length [0.1 µm]; nothing is written where there is none.
        sign: Whether a plus is written too; zero has no sign.
        unit: Whether to append the unit.
    """
    if tenths_um is None:
        return ""
    inches = preferences().unit == "in"
    text = (in_from_tenths_um if inches else mm_from_tenths_um)(tenths_um)
    plus = "+" if sign and tenths_um > 0 else ""
    return plus + _with_unit(text, unit)


def nominal_length(tenths_um: int | None, *, unit: bool = True) -> str:
    """A nominal or a limit in the reader's unit: mm with 3 places, or inches with 5.

    What is stored finer than 1 µm is written with 4: nothing is rounded away.

    Args:
        tenths_um: The length [0.1 µm]; nothing is written where there is none.
        unit: Whether to append the unit.
    """
    if tenths_um is None:
        return ""
    inches = preferences().unit == "in"
    return _with_unit(
        (in_from_tenths_um if inches else nominal_mm_from_tenths_um)(tenths_um), unit
    )


def _with_unit(plain: str, unit: bool) -> str:
    asked = preferences()
    text = in_locale(plain, asked.language)
    return f"{text} {asked.unit}" if unit else text
