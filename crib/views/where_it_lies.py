"""Where tools, holders and boxes lie, in words, as far as somebody recorded it."""

from __future__ import annotations

from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.rack_rows import waiting_rows


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
