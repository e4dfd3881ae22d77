"""Leads from a number on a page to the calculation behind it, its figures filled in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final
from urllib.parse import urlencode

from flask import Flask

from api.pages.numbers.page import WORKINGS

#: Longest address that every browser and server takes (RFC 9110, 4.1: at least 8,000).
LONGEST: Final = 7_500

Filled = str | float | Iterable[float | str]


def number_link(kind: str, values: Mapping[str, Filled | None]) -> str:
    """Address of a calculation's page with its entries filled in.

    A global of all templates, also inside imported macros::

        <a href="{{ number_link('swap-point', {'shape': 3.1, 'scale': 0.9, 'planned_cost': 4,
          'failure_cost': 150}) }}">{{ _("Calculate") }}</a>

    Kinds are the last parts of the addresses under ``/workings`` (swap-point, life-fit,
    part-size, preset, bench-order, tool-life, …); names are those of the calculation's REST
    call. Texts stay as they are; numbers are written with seven digits; of a list each member
    is written with a space between, so lines of jobs are one text with line breaks, and an age
    at which an edge was taken out early is the text ``"310+"``.

    Args:
        kind: The calculation.
        values: Entry by name; None is left out.

    Raises:
        ValueError: There is no such calculation, or it has no such entry: a mistake of the
            page, seen by its first test.
    """
    working = WORKINGS.get(kind)
    if working is None:
        raise ValueError(f"there is no calculation called {kind}")
    strange = set(values) - {entry.name for entry in working.entries}
    if strange:
        raise ValueError(f"{kind} has no entry {', '.join(sorted(strange))}")
    typed = {name: _typed(value) for name, value in values.items() if value is not None}
    return f"/workings/{kind}?{urlencode(typed)}" if typed else f"/workings/{kind}"


def ages_typed(ages: Iterable[float], failed: Iterable[bool]) -> list[str]:
    """Ages as ``life-fit`` takes them: a plus behind each that was taken out early.

    Args:
        ages: Ages reached, in any unit of use, the latest life first.
        failed: Whether each ended by wear or breakage.

    Returns:
        As many, from the first on, as an address can hold.
    """
    found: list[str] = []
    room = LONGEST - 200
    for age, over in zip(ages, failed, strict=True):
        text = f"{age:.5g}" if over else f"{age:.5g}+"
        room -= len(text) + (1 if over else 3)  # a plus is written %2B
        if room < 0:
            break
        found.append(text)
    return found


def add_number_links(app: Flask) -> None:
    """Give every template ``number_link``."""
    app.jinja_env.globals["number_link"] = number_link


def _typed(value: Filled) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, int | float):
        return f"{value:.7g}"
    return " ".join(map(_typed, value))
