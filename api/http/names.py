"""Names in addresses: which part names a thing, and where its sub-addresses begin.

A name may hold slashes: a station is ``M1/T01``, a scanned label is a whole address, a shop
may call a lot ``24/117``. Its sub-addresses come after it, so a name never runs into one:
``/v1/assemblies/TH-1/presets`` has no answer of the tool ``TH-1/presets``.
"""

from __future__ import annotations

import re
from typing import Any

from werkzeug.routing import BaseConverter, Map

#: Sub-addresses below one of each collection.
BELOW: dict[str, tuple[str, ...]] = {
    "assemblies": ("presets", "teardown", "label-prints", "rack-places"),
    "gauges": ("study",),
    "life": ("cut", "land"),
    "machines": ("time-ahead",),
    "stations": ("datum",),
}


class NameConverter(BaseConverter):
    """A name that may hold slashes, up to the given sub-addresses.

    Args:
        url_map: The addresses of the app.
        below: Sub-addresses at which the name ends.
    """

    part_isolating = False
    weight = 200  # as of werkzeug's own for paths: exact addresses come first

    def __init__(self, url_map: Map, *below: str, **kwargs: Any) -> None:
        super().__init__(url_map, **kwargs)
        ends = "|".join(map(re.escape, below))
        self.regex = (rf"(?!.*/(?:{ends})(?:/|$))" if below else "") + "[^/].*?"


def one_of(collection: str, name: str) -> str:
    """The part of a rule that names one of a collection, to the end of the address.

    Examples:
        >>> one_of("gauges", "key"), one_of("lots", "key")
        ("<name('study'):key>", '<name:key>')
    """
    below = ", ".join(f"'{end}'" for end in BELOW.get(collection, ()))
    return f"<name({below}):{name}>" if below else f"<name:{name}>"
