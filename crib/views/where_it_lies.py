"""Where tools, holders and boxes lie, in words, as far as somebody recorded it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from crib.planning.kits import Kit, KitLine
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.rack_rows import belongings, waiting_rows


def rack_words(machine: str | None, place: str | None) -> str | None:
    """A place in a rack in words; None where nothing is recorded.

    Args:
        machine: Machine in whose rack it is.
        place: Place in that rack, or anywhere else in the shop's own words.
    """
    if machine and place:
        return sentence("rack of {machine}, {place}", machine=machine, place=place)
    return sentence("rack of {machine}", machine=machine) if machine else place


def places_of_sisters(tx: Tx) -> dict[str, str]:
    """Where every measured tool outside the machines lies, by its code.

    Args:
        tx: An open transaction.
    """
    return {
        row.code: words
        for row in waiting_rows(tx)
        if (words := rack_words(row.rack_machine, row.place)) is not None
    }


@dataclass(frozen=True, slots=True)
class Taken:
    """A thing to take for a kit, or to bring back.

    Attributes:
        thing: Code of a tool, mark of a holder or of a lot.
        place: Where it lies or belongs; None where nothing is recorded.
    """

    thing: str
    place: str | None


@dataclass(frozen=True, slots=True)
class Places:
    """Where things lie, by tool's code, holder's mark and lot's mark."""

    tools: Mapping[str, str]
    holders: Mapping[str, str]
    lots: Mapping[str, str]

    def of_line(self, line: KitLine) -> tuple[Taken, ...]:
        """What to take for a tool that is pulled, measured or built, each with its place.

        A tool that stands in no rack is looked for where its holder belongs.
        """
        lot = line.sister.lot if line.sister else None
        return self.of(line.assembly, line.holder, lot)

    def of(
        self, assembly: str | None, holder: str | None, lot: str | None
    ) -> tuple[Taken, ...]:
        """The same for a tool that is built, or a holder and a lot to build it from."""
        if assembly:
            place = self.tools.get(assembly)
            belongs = self.holders.get(holder or "")
            if place is None and belongs:
                place = sentence("in no rack: try {place}", place=belongs)
            return (Taken(assembly, place),)
        marks = ((holder, self.holders), (lot, self.lots))
        return tuple(Taken(mark, known.get(mark)) for mark, known in marks if mark)

    def of_kit(self, kit: Kit) -> dict[KitLine, tuple[Taken, ...]]:
        """The same for each line to take, and where holders that come out go back to."""
        found = {line: self.of_line(line) for line in (*kit.pull, *kit.build, *kit.blocked)}
        for line in kit.returned:
            if line.holder:
                found[line] = (Taken(line.holder, self.holders.get(line.holder)),)
        return found


def places_now(tx: Tx) -> Places:
    """Where everything lies that a kit may take.

    Args:
        tx: An open transaction.
    """
    return Places(places_of_sisters(tx), *belongings(tx))
