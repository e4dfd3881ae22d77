"""Material groups and applications of hard cutting materials (ISO 513): read, print.

Letters, numbers and words are from memory of ISO 513:2012, tables 1 and 2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

from crib.designation.scanning import Scanner
from crib.sentence import sentence


class Group(NamedTuple):
    """One group: what is cut, and its application numbers from hard to tough."""

    name: str
    words: str
    numbers: tuple[str, ...]


_TO_50 = ("01", "05", "10", "15", "20", "25", "30", "35", "40", "45", "50")
_TO_40 = _TO_50[:9]
_TO_30 = _TO_50[:7]

#: Table 1: main groups and application groups.
GROUPS: Final[dict[str, Group]] = {
    "P": Group(
        sentence("steel"),
        sentence("steel and cast steel, except stainless with an austenitic structure"),
        _TO_50,
    ),
    "M": Group(
        sentence("stainless steel"),
        sentence("stainless steel, austenitic or austenitic and ferritic, and its castings"),
        _TO_40,
    ),
    "K": Group(
        sentence("cast iron"),
        sentence("cast iron: grey, with spheroidal graphite, malleable"),
        _TO_40,
    ),
    "N": Group(
        sentence("non-ferrous metal"),
        sentence("aluminium and other non-ferrous metals, and non-metals"),
        _TO_30,
    ),
    "S": Group(
        sentence("superalloys and titanium"),
        sentence(
            "heat-resistant special alloys on a base of iron, nickel and cobalt; "
            "titanium and its alloys"
        ),
        _TO_30,
    ),
    "H": Group(
        sentence("hard material"),
        sentence("hardened steel, hardened cast iron, chilled cast iron"),
        _TO_30,
    ),
}

#: Table 2: what the cutting edge is made of.
CUTTING_MATERIALS: Final = {
    "HW": sentence("uncoated hardmetal, mostly tungsten carbide, grains of 1 µm and more"),
    "HF": sentence("uncoated hardmetal, mostly tungsten carbide, grains finer than 1 µm"),
    "HT": sentence("uncoated cermet: hardmetal of titanium carbide or nitride"),
    "HC": sentence("hardmetal or cermet as above, coated"),
    "CA": sentence("ceramic, mostly aluminium oxide"),
    "CM": sentence("mixed ceramic: aluminium oxide with other hard materials"),
    "CN": sentence("ceramic, mostly silicon nitride"),
    "CR": sentence("ceramic, mostly aluminium oxide, reinforced"),
    "CC": sentence("ceramic as above, coated"),
    "DP": sentence("polycrystalline diamond"),
    "DM": sentence("single-crystal diamond"),
    "BL": sentence("cubic boron nitride, low content"),
    "BH": sentence("cubic boron nitride, high content"),
    "BC": sentence("cubic boron nitride as above, coated"),
}


@dataclass(frozen=True, slots=True)
class Application:
    """A group of workpiece materials, and how a cutting material is to be used in it.

    Attributes:
        group: P, M, K, N, S or H.
        number: Application number; empty where only the group is given.
        cutting_material: Two letters, or empty.
    """

    group: str
    number: str = ""
    cutting_material: str = ""

    def __str__(self) -> str:
        """The text that it was read from."""
        dash = "-" if self.cutting_material else ""
        return f"{self.cutting_material}{dash}{self.group}{self.number}"

    @property
    def lean(self) -> str | None:
        """Which way the number leans inside its group; None without a number."""
        if not self.number:
            return None
        numbers = GROUPS[self.group].numbers
        place = numbers.index(self.number) / (len(numbers) - 1)
        if place < 1 / 3:
            return sentence("towards wear resistance: higher speed, lighter feed, steady cuts")
        if place > 2 / 3:
            return sentence("towards toughness: lower speed, heavier feed, interrupted cuts")
        return sentence("between wear resistance and toughness")


def parse_material(plain: str) -> Application:
    """Read plain text.

    Raises:
        Unreadable: It stops making sense.
    """
    scanner = Scanner(plain)
    cutting = ""
    if "-" in plain or plain[:2] in CUTTING_MATERIALS:
        cutting = scanner.take(1, sentence("cutting material"), CUTTING_MATERIALS)
        dash = sentence("dash before the group")
        scanner.take(2, dash, ["-"], [dash])
    group = scanner.take(2, sentence("group of workpiece materials"), GROUPS)
    number = ""
    if scanner.left:
        number = scanner.take(
            3,
            sentence("application number of group {group}", group=group),
            GROUPS[group].numbers,
        )
    scanner.take_end(3)
    return Application(group, number, cutting)
