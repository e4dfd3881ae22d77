"""Refusing a designation: which position, what was expected, the nearest valid reading."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from difflib import SequenceMatcher
from typing import TypeVar

from crib.designation.scanning import Unreadable, plain_text
from crib.errors import BadDesignation
from crib.sentence import sentence, together

T = TypeVar("T")

_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-."
#: Characters that are taken for one another on worn print, either way.
_ALIKE = {
    one: "".join(other for other in alike if other != one)
    for alike in ("0ODQ", "1IL", "5S", "8B", "2Z", "6G")
    for one in alike
}
#: Longer texts are no misprint of a designation.
_LONGEST = 40
#: Share of characters that a reading must keep to be worth showing.
_ALIKE_ENOUGH = 0.6
_SHOWN = 40


def read_or_refuse(
    text: str,
    parse: Callable[[str], T],
    kind: str,
    oddness: Callable[[T], int] = lambda _: 0,
    kept: Callable[[T], tuple[int, int]] | None = None,
) -> T:
    """Read a text, or say where it goes wrong.

    Args:
        text: As typed: blanks, small letters and typeset dashes are taken.
        parse: Reads plain text or raises ``Unreadable``.
        kind: What it should be, for the sentence.
        oddness: How unusual a reading is; the least odd of several as near ones is offered.
        kept: Where in a reading's plain text the characters stand that no offer may change:
            a wrong radius fits the holder and spoils the part.

    Raises:
        BadDesignation: ``facts`` has ``position`` (the standard's number), ``character`` (from
            1, blanks left out), ``expected`` (what may stand there), ``nearest`` (a text that
            reads, or None).
    """
    plain = plain_text(text)
    try:
        return parse(plain)
    except Unreadable as wrong:
        offered = parse if kept is None else _keeping(plain, parse, kept)
        nearest = nearest_reading(plain, offered, wrong, oddness)
        raise _refusal(plain, kind, wrong, nearest) from wrong


def _keeping(
    plain: str, parse: Callable[[str], T], kept: Callable[[T], tuple[int, int]]
) -> Callable[[str], T]:
    """The same reader; it refuses texts in which what must be kept is not as written."""

    def read(text: str) -> T:
        reading = parse(text)
        start, end = kept(reading)
        if not _as_written(plain, text, start, end):
            raise Unreadable(0, -1, "", [], [])
        return reading

    return read


def _as_written(plain: str, text: str, start: int, end: int) -> bool:
    """Whether a stretch of a text was there before, look-alike letters aside."""
    if start == end or text.startswith(plain):  # none was written, or not the whole of it
        return True
    same = min(len(plain), len(text))
    first = next((at for at in range(same) if plain[at] != text[at]), same)
    last = next(
        (at for at in range(same - first) if plain[-1 - at] != text[-1 - at]), same - first
    )
    old, new = plain[first : len(plain) - last], text[first : len(text) - last]
    if first >= end or first + len(new) <= start:
        near = first in (end, start) and len(old) > len(new)
        return not (near and any(letter.isdigit() for letter in old))
    pairs = zip(old, new, strict=False)
    return len(old) == len(new) and all(
        one == other or (one.isalpha() and one in _ALIKE.get(other, "")) for one, other in pairs
    )


def _refusal(plain: str, kind: str, wrong: Unreadable, nearest: str | None) -> BadDesignation:
    width = max((len(option) for option in wrong.options), default=1) or 1
    found = plain[wrong.at : wrong.at + width]
    stands = (
        sentence("'{found}' stands there", found=found)
        if found
        else sentence("the text ends there")
    )
    shown = f"'{plain[:_SHOWN]}'" if plain else sentence("An empty text")
    expected = wrong.what
    if wrong.words != [wrong.what]:
        expected += sentence(", one of {words}", words=together(", ", wrong.words))
    text = sentence(
        "{shown} is not a {kind}: position {position} (character {at}) should "
        "be the {expected}; {stands}.",
        shown=shown,
        kind=kind,
        position=wrong.position,
        at=wrong.at + 1,
        expected=expected,
        stands=stands,
    )
    if nearest:
        text += sentence(" Perhaps {nearest}?", nearest=nearest)
    return BadDesignation(
        text,
        facts={
            "position": wrong.position,
            "character": wrong.at + 1,
            "expected": wrong.words,
            "nearest": nearest,
        },
    )


def nearest_reading(
    plain: str, parse: Callable[[str], T], wrong: Unreadable, oddness: Callable[[T], int]
) -> str | None:
    """The nearest text that reads: one character away, else mended position by position.

    None where what can be read would have little to do with what was written.
    """
    if not plain or len(plain) > _LONGEST:
        return None
    nearest = (
        _ended(plain, parse, wrong, oddness)
        or _one_edit_away(plain, parse, wrong, oddness)
        or _mended(plain, parse, wrong)
    )
    if nearest is None:
        return None
    kept = SequenceMatcher(None, plain, nearest, autojunk=False).ratio()
    return nearest if kept >= _ALIKE_ENOUGH else None


def _ended(
    plain: str, parse: Callable[[str], T], wrong: Unreadable, oddness: Callable[[T], int]
) -> str | None:
    """A text that stops too early, ended; one that goes on too long, with its dash or cut."""
    before, after = plain[: wrong.at], plain[wrong.at :]
    if wrong.options == [""]:
        candidates = [f"{before}-{after}", before]
        return next((text for text in candidates if _read(parse, text) is not None), None)
    if len(after) >= max(map(len, wrong.options), default=0):
        return None
    found = [
        (oddness(reading), before + option)
        for option in wrong.options
        if option.startswith(after) and (reading := _read(parse, before + option)) is not None
    ]
    return min(found, key=lambda one: one[0])[1] if found else None


def _one_edit_away(
    plain: str, parse: Callable[[str], T], wrong: Unreadable, oddness: Callable[[T], int]
) -> str | None:
    """The least odd text one change away, as near as can be to where the reading stopped."""
    for index in sorted(range(len(plain) + 1), key=lambda place: abs(place - wrong.at)):
        found = []
        for order, candidates in enumerate(_edits(plain, index)):
            for candidate in candidates:
                reading = _read(parse, candidate)
                if reading is not None:
                    found.append((order > 0, oddness(reading), order, candidate))
        if found:
            return min(found, key=lambda one: one[:3])[3]
    return None


def _read(parse: Callable[[str], T], text: str) -> T | None:
    try:
        return parse(text)
    except Unreadable:
        return None


def _edits(text: str, index: int) -> Iterator[list[str]]:
    """Texts one change away at one place, kind by kind: misprints first."""
    before, here, after = text[:index], text[index : index + 1], text[index + 1 :]
    yield [before + other + after for other in _ALIKE.get(here, "")] if here else []
    yield [before + after[0] + here + after[1:]] if here and after else []
    yield [before + other + after for other in _ALPHABET] if here else []
    yield [before + other + here + after for other in _ALPHABET]
    yield [before + after] if here else []


def _mended(plain: str, parse: Callable[[str], T], wrong: Unreadable) -> str | None:
    text = plain
    for _ in range(16):
        if not wrong.options:
            return None
        text = _replaced(text, wrong)
        try:
            parse(text)
        except Unreadable as next_wrong:
            if next_wrong.at < wrong.at or len(text) > _LONGEST:
                return None
            wrong = next_wrong
            continue
        return text
    return None


def _replaced(text: str, wrong: Unreadable) -> str:
    def likeness(option: str) -> float:
        written = text[wrong.at : wrong.at + len(option)]
        return SequenceMatcher(None, written, option, autojunk=False).ratio()

    best = max(wrong.options, key=likeness)
    if not best:
        return text[: wrong.at]
    return text[: wrong.at] + best + text[wrong.at + len(best) :]
