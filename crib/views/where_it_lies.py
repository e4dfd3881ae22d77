"""Where tools, holders and boxes lie, in words, as far as somebody recorded it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from crib.planning.kits import Kit, KitLine
from crib.planning.shelf import Sister
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.rack_rows import belongings, placed_rows


def rack_words(machine: str | None, place: str | None) -> str | None:
    """A place in a rack in words; None where nothing is recorded.

    Args:
        machine: Machine in whose rack it is.
        place: Place in that rack, or anywhere else in the shop's own words.
    """
    if machine and place:
        return sentence("rack of {machine}, {place}", machine=machine, place=place)
    return sentence("rack of {machine}", machine=machine) if machine else place


def tool_words(racked: str | None) -> str:
    """Where a tool lies that is built, in words: one place to go to.

    Args:
        racked: Its place in a rack; None where nobody put it in one.
    """
    return racked or sentence("not in the rack yet: look on the bench")


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
    """Where things lie: tools in a rack by code, holders and lots by mark."""

    tools: Mapping[str, str]
    holders: Mapping[str, str]
    lots: Mapping[str, str]

    def lies(self, sister: Sister | None) -> str | None:
        """Where a sister lies, or the holder to build it with; None where nobody said."""
        if sister is None:
            return None
        if sister.assembly is None:
            return self.holders.get(sister.holder or "")
        return tool_words(self.tools.get(sister.assembly))

    def of_line(self, line: KitLine) -> tuple[Taken, ...]:
        """What to take for a tool that is pulled, measured or built, each with its place."""
        lot = line.sister.lot if line.sister else None
        return self.of(line.assembly, line.holder, lot)

    def of(
        self, assembly: str | None, holder: str | None, lot: str | None
    ) -> tuple[Taken, ...]:
        """The same for a tool that is built, or a holder and a lot to build it from."""
        if assembly:
            return (Taken(assembly, tool_words(self.tools.get(assembly))),)
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
    """Where everything lies that somebody may have to fetch.

    Args:
        tx: An open transaction.
    """
    racked = {
        row.code: words
        for row in placed_rows(tx)
        if (words := rack_words(row.machine, row.place)) is not None
    }
    return Places(racked, *belongings(tx))
