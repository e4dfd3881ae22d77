"""Readings on their way to a fact: kept in the page's address, so that a reload loses none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from flask import request

from api.language import preferences
from crib.errors import Invalid
from crib.metrology.gauge_line import compile_pattern, read_line
from crib.metrology.preset import MEASURES, Reading
from crib.sentence import sentence, together
from crib.units import TenthsUm, mm_from_tenths_um, tenths_um_from_in, tenths_um_from_mm

#: Most readings that a page gathers; the address has to stay one that every browser takes.
MOST_GATHERED = 50


@dataclass(frozen=True, slots=True)
class Draft:
    """Readings that were taken and are not recorded yet.

    Attributes:
        gauge: Mark of the gauge that they were taken on; empty where nobody said.
        readings: In the order in which they were taken.
        by_hand: Whether the last one was typed measure by measure.
    """

    gauge: str = ""
    readings: tuple[Reading, ...] = ()
    by_hand: bool = False

    @property
    def lines(self) -> list[str]:
        """Each reading as one line of text."""
        return [line_of(one) for one in self.readings]

    def address(self, path: str) -> str:
        """The page with these readings in its address."""
        pairs = [("g", self.gauge)] if self.gauge else []
        pairs += [("r", line) for line in self.lines]
        if self.by_hand:
            pairs.append(("hand", "1"))
        return f"{path}?{urlencode(pairs)}" if pairs else path

    def without(self, place: int) -> Draft:
        """The same less the reading at a place, from 0."""
        kept = self.readings[:place] + self.readings[place + 1 :]
        return replace(self, readings=kept)

    def add(self, reading: Reading, *, by_hand: bool) -> Draft:
        """The same and one more.

        Raises:
            Invalid: It measures other lengths than those before, or there are too many.
        """
        first = self.readings[0].carried() if self.readings else reading.carried()
        if reading.carried() != first:
            raise Invalid(
                sentence(
                    "This reading has {reading}, the earlier ones have {first}: measure "
                    "the same lengths each time.",
                    reading=together(", ", reading.carried()),
                    first=together(", ", first),
                ),
                errors=[{"field": "line", "detail": sentence("other lengths than before")}],
            )
        if len(self.readings) >= MOST_GATHERED:
            raise Invalid(
                sentence(
                    "{most_gathered} readings are enough for one tool: record them.",
                    most_gathered=MOST_GATHERED,
                ),
                errors=[
                    {
                        "field": "line",
                        "detail": sentence(
                            "at most {most_gathered}", most_gathered=MOST_GATHERED
                        ),
                    }
                ],
            )
        return replace(self, readings=(*self.readings, reading), by_hand=by_hand)


def line_of(reading: Reading) -> str:
    """A reading as a gauge without a pattern of its own would write it.

    Examples:
        >>> line_of(Reading(lf_tenths_um=800010, re_tenths_um=8000))
        'LF 80.0010 RE 0.8000'
    """
    taken = ((name, reading.value(name)) for name in reading.carried())
    return " ".join(f"{name} {mm_from_tenths_um(value or 0)}" for name, value in taken)


def draft_from(values: Mapping[str, str], lines: Sequence[str]) -> Draft:
    """The draft that an address or a form carries.

    Raises:
        Invalid: Somebody changed the address into something that is no reading.
    """
    readings = tuple(read_line(None, line) for line in lines[: MOST_GATHERED + 1])
    return Draft(values.get("g", "")[:200], readings, bool(values.get("hand")))


def added(draft: Draft, line_pattern: str | None) -> Draft | None:
    """The draft with what was just typed or sent by the gauge; None where nothing was.

    Args:
        draft: What was there before.
        line_pattern: How the gauge writes its lines; None for the plain way.

    Raises:
        Invalid: It cannot be read; ``errors`` names the field.
    """
    line = request.args.get("line", "").strip()
    if line:
        pattern = compile_pattern(line_pattern) if line_pattern else None
        return draft.add(read_line(pattern, line), by_hand=False)
    reading = _by_hand()
    return None if reading is None else draft.add(reading, by_hand=True)


def _by_hand() -> Reading | None:
    values: list[TenthsUm | None] = []
    errors: list[dict[str, str]] = []
    for name in MEASURES:
        text = request.args.get(name.lower(), "").strip()
        try:
            values.append(typed_length(text) if text else None)
        except Invalid as refusal:
            errors.append({"field": name.lower(), "detail": refusal.sentence})
    if errors:
        raise Invalid(sentence("Reading not added: see the field."), errors=errors)
    return Reading(*values) if any(value is not None for value in values) else None


def typed_length(text: str) -> TenthsUm:
    """A length as a person types it, in the reader's unit, with point or comma.

    Raises:
        Invalid: It is none.
    """
    plain = text.strip().replace(",", ".")
    inches = preferences().unit == "in"
    return tenths_um_from_in(plain) if inches else tenths_um_from_mm(plain)
