"""Words on paper: what can be printed, how wide it is, how it shrinks and where it is cut."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache, lru_cache

from arabic_reshaper import ArabicReshaper  # type: ignore[import-untyped]  # ships no types
from bidi import get_display  # type: ignore[import-untyped]  # ships no types

from crib.units import MM_PER_IN
from labels.typeface import ASCENT, DESCENT, LINE, Face, metrics

PT_MM = MM_PER_IN / 72
ELLIPSIS = "…"
#: Stands for every character that the face cannot draw.
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"

#: What a line is broken between.
_WORDS = re.compile(r"\S+(?: %\S*)?")

#: No field is longer than this on paper; a longer one is cut before it is measured.
LONGEST_CHARACTERS = 2000


@dataclass(frozen=True, slots=True)
class Fitted:
    """A text made to fit: in drawing order (left to right), at the size it fits at."""

    shown: str
    size_pt: float
    width_mm: float
    cut: bool


def printable(text: str) -> str:
    r"""Text as it can be printed, in reading order.

    Control and direction characters go, every run of white space becomes one space, and what
    the face cannot draw becomes a visible replacement.

    Examples:
        >>> printable("Bar\tfeed \x00 4\u202e")
        'Bar feed 4'
        >>> printable("fixed 🔧")
        'fixed �'
    """
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    return _printable(text)


@lru_cache(maxsize=4096)
def _printable(text: str) -> str:
    known = metrics(Face.TEXT).advance
    known_bold = metrics(Face.BOLD).advance
    kept: list[str] = []
    for character in unicodedata.normalize("NFC", text[: 2 * LONGEST_CHARACTERS]):
        category = unicodedata.category(character)
        if character.isspace():
            kept.append(" ")
        elif category in ("Cc", "Cf") or (category == "Sk" and character > "\uffff"):
            continue  # controls, direction marks, joiners, skin tones: no ink of their own
        elif category.startswith("M"):
            # A mark is drawn over the letter before it; where there is none, or where drawing
            # order is reversed, it would land on a neighbour. Such scripts are read without.
            if character in known and kept and unicodedata.bidirectional(kept[-1]) == "L":
                kept.append(character)
        elif character in known and character in known_bold:
            kept.append(character)
        elif kept[-1:] != [REPLACEMENT]:
            kept.append(REPLACEMENT)
    return " ".join("".join(kept).split())[:LONGEST_CHARACTERS]


@cache
def _reshaper() -> ArabicReshaper:
    return ArabicReshaper({"delete_harakat": True, "support_ligatures": True})


def shown(text: str) -> str:
    """Printable text in drawing order: Arabic letters joined, right-to-left runs turned.

    Source: Unicode Standard Annex 9 (bidirectional algorithm), by the library that does it.

    Examples:
        >>> shown("T04 שלום")
        'T04 םולש'
    """
    if text.isascii():
        return text
    return _shown(text)


@lru_cache(maxsize=8192)
def _shown(text: str) -> str:
    joined = str(_reshaper().reshape(text))
    known = metrics(Face.TEXT).advance
    known_bold = metrics(Face.BOLD).advance
    turned = str(get_display(joined))
    return "".join(
        character if character in known and character in known_bold else REPLACEMENT
        for character in turned
    )


def width_em(drawn: str, face: Face) -> float:
    """Width of text in drawing order, in parts of the type size."""
    advance = metrics(face).advance
    try:
        return sum([advance[character] for character in drawn])
    except KeyError:
        missing = advance[REPLACEMENT]
        return sum([advance.get(character, missing) for character in drawn])


def _tallness(drawn: str, face: Face) -> float:
    """By how much a text's ink is taller than the line, at least 1 (stacked accents)."""
    if drawn.isascii():
        return 1.0
    measures = metrics(face)
    top = max((measures.top.get(character, ASCENT) for character in drawn), default=ASCENT)
    low = min((measures.bottom.get(character, -DESCENT) for character in drawn), default=0)
    return max(1.0, top / ASCENT, -low / DESCENT)


def fit(
    text: str,
    face: Face,
    width_mm: float,
    size_pt: float,
    floor_pt: float,
    *,
    may_cut: bool = True,
) -> Fitted | None:
    """Make printable text fit a width: shrink to the floor, then cut with an ellipsis.

    Args:
        text: Printable text, in reading order.
        face: The typeface.
        width_mm: Room [mm].
        size_pt: Wanted type size [pt].
        floor_pt: Smallest type size [pt].
        may_cut: False for offsets and codes, which are never cut.

    Returns:
        The fitted text, or None where it does not fit uncut and may not be cut.
    """
    drawn = shown(text)
    em = width_em(drawn, face)
    tall = _tallness(drawn, face)
    size = size_pt
    if em * size * PT_MM > width_mm:
        size = width_mm / (em * PT_MM)
    if size >= floor_pt:
        return Fitted(drawn, size / tall, em * size / tall * PT_MM, cut=False)
    if not may_cut:
        return None
    drawn = _cut(text, face, width_mm / (floor_pt * PT_MM))
    return Fitted(
        drawn, floor_pt / tall, width_em(drawn, face) * floor_pt / tall * PT_MM, cut=True
    )


def _cut(text: str, face: Face, room_em: float) -> str:
    """The longest beginning that fits with an ellipsis; nothing where not even that fits."""
    low, high = 0, len(text)
    best = ELLIPSIS if width_em(ELLIPSIS, face) <= room_em else ""
    while low < high:
        middle = (low + high + 1) // 2
        candidate = shown(text[:middle].rstrip() + ELLIPSIS)
        if width_em(candidate, face) <= room_em:
            best, low = candidate, middle
        else:
            high = middle - 1
    return best


def wrap(text: str, face: Face, width_mm: float, size_pt: float) -> list[str]:
    """Break printable text into lines (in drawing order) that fit a width.

    A word longer than a line is broken within, after a hyphen or the like where there is one.
    A number keeps its per cent sign.
    """
    room_em = width_mm / (size_pt * PT_MM)
    lines: list[str] = []
    line = ""
    for word in _WORDS.findall(text):
        longer = f"{line} {word}" if line else word
        if width_em(shown(longer), face) <= room_em:
            line = longer
            continue
        if line:
            lines.append(line)
        while width_em(shown(word), face) > room_em:
            length = _breaking_point(word, face, room_em)
            lines.append(word[:length])
            word = word[length:]
        line = word
    if line:
        lines.append(line)
    return [shown(line) for line in lines]


def _breaking_point(word: str, face: Face, room_em: float) -> int:
    length = 1
    while length < len(word) and width_em(shown(word[: length + 1]), face) <= room_em:
        length += 1
    joint = max(word.rfind(mark, 0, length) for mark in "-/_,.:|")
    return joint + 1 if joint >= length // 3 else length


def line_height_mm(size_pt: float) -> float:
    """Height of one line of text [mm]."""
    return size_pt * LINE * PT_MM
