"""Addresses of the machine pages, and the answer where an address is incomplete."""

from __future__ import annotations

import re
from urllib.parse import quote, urlencode

from api.language import _


def machine_address(machine: str) -> str:
    """The page of a machine."""
    return f"/machines/{quote(machine, safe='')}"


def station_address(machine: str, code: str) -> str:
    """The page of a station."""
    return f"{machine_address(machine)}/stations/{quote(code, safe='')}"


def says_number(station: str, tool_number: int) -> bool:
    """Whether a station's name ends with its tool number, so that nobody has to read both."""
    found = re.search(r"[0-9]+$", station)
    return found is not None and int(found[0]) == tool_number


def place_of(station: str, tool_number: int) -> str:
    """A station with its tool number, once where the name says it."""
    if says_number(station, tool_number):
        return station
    return _("{station}, tool {number}", station=station, number=tool_number)


def act_address(machine: str, act: str, **query: str | None) -> str:
    """The page of an act at a machine: mount, remove, correct, scan.

    Args:
        machine: Its name.
        act: Last part of the address.
        query: What is known already; what is not is left out.
    """
    given = {name: text for name, text in query.items() if text}
    return f"{machine_address(machine)}/{act}" + (f"?{urlencode(given)}" if given else "")
