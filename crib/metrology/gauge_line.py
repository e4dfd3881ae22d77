"""A line of text that a gauge sends becomes an exact reading, by a pattern that the shop edits.

A pattern is words with white space between them, such as ``LF {lf} WF {wf}``. ``{lf}``,
``{wf}``, ``{hf}`` and ``{re}`` stand for numbers, a lone ``*`` for any one word, all else for
itself, capital or small. Numbers are millimetres; where a word of the pattern is ``in``, they
are inches, rounded once to 0.1 µm, half to even. The line has to say that word as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from crib.errors import Invalid
from crib.metrology.preset import MEASURES, Reading
from crib.sentence import AND, OR, sentence, together
from crib.units import TenthsUm, tenths_um_from_in, tenths_um_from_mm

#: Any one word of the line.
ANY_WORD = "*"

#: Longest line that is read; a gauge that sends more is sending something else.
LONGEST_LINE = 1_000

#: Numbers of an example, by measure.
_EXAMPLE_MM = {"LF": "80.001", "WF": "16.010", "HF": "12.000", "RE": "0.400"}
_EXAMPLE_IN = {"LF": "3.1496", "WF": "0.6303", "HF": "0.4724", "RE": "0.0157"}

_KNOWN = ", ".join(f"{{{name.lower()}}}" for name in MEASURES)
_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
#: A character between two numbers of one word that can belong to neither of them.
_APART = re.compile(r"[^0-9+\-.,]")


@dataclass(frozen=True, slots=True)
class PatternWord:
    """One word of a pattern.

    Attributes:
        text: As the shop wrote it.
        matches: What a word of the line has to be, whole; a group per number.
        measures: The measures that its numbers are, in order.
    """

    text: str
    matches: re.Pattern[str]
    measures: tuple[str, ...]

    @property
    def expected(self) -> str:
        """What belongs there, for a sentence."""
        if self.text == ANY_WORD:
            return sentence("any word")
        if not self.measures:
            return f"'{self.text}'"
        if _PLACEHOLDER.fullmatch(self.text):
            return sentence("a number for {measures}", measures=self.measures[0])
        return sentence(
            "'{text}' with a number for {measures}",
            text=self.text,
            measures=together(AND, self.measures),
        )


@dataclass(frozen=True, slots=True)
class LinePattern:
    """A pattern that can be read by; made by ``compile_pattern``."""

    words: tuple[PatternWord, ...]
    in_inches: bool


@lru_cache(maxsize=256)
def compile_pattern(text: str) -> LinePattern:
    """Make a pattern ready to read lines by.

    Args:
        text: Words and placeholders, as the shop wrote them.

    Raises:
        Invalid: An unknown placeholder, none at all, one twice, two numbers that nothing
            keeps apart, or both units.

    Examples:
        >>> [word.expected for word in compile_pattern("LF {lf} *").words]
        ["'LF'", 'a number for LF', 'any word']
    """
    words = tuple(_word(word) for word in text.split())
    measures = [name for word in words for name in word.measures]
    if not measures:
        raise _bad(
            sentence(
                "The pattern names no measure: write at least one of {known}.", known=_KNOWN
            )
        )
    twice = next((name for name in measures if measures.count(name) > 1), None)
    if twice is not None:
        raise _bad(
            sentence(
                "The pattern has {{twice}} twice: name each measure once.", twice=twice.lower()
            )
        )
    units = {said for word in words for said in _literals(word.text) if said in ("in", "mm")}
    if len(units) > 1:
        raise _bad(
            sentence("The pattern says both mm and in: its numbers are all of one unit.")
        )
    return LinePattern(words, "in" in units)


def read_line(pattern: LinePattern | None, line: str) -> Reading:
    """Read one line of a gauge.

    Args:
        pattern: How the gauge writes; None: LF, WF, HF and RE in any order, each followed by
            its number in mm, as far as they were measured.
        line: What it sent.

    Raises:
        Invalid: The line is not written so (which word, what belongs there), or a number is
            finer than 0.1 µm.

    Examples:
        >>> read_line(compile_pattern("X{wf} Z{lf}"), "x+016,0103  z80.001")
        Reading(lf_tenths_um=800010, wf_tenths_um=160103, hf_tenths_um=None, re_tenths_um=None)
    """
    if len(line) > LONGEST_LINE:
        raise _not_read(
            sentence(
                "The line has {line} characters; at most {longest_line} are read.",
                line=len(line),
                longest_line=LONGEST_LINE,
            ),
            1,
            "",
            "",
        )
    said = line.split()
    if not said:
        raise _not_read(
            sentence("The line is empty: send it from the gauge again."),
            1,
            sentence("a word"),
            "",
        )
    return _in_any_order(said) if pattern is None else _by_pattern(pattern, said)


def example_line(pattern: str | None) -> str:
    """A line as a gauge with that pattern sends it, for people to compare theirs with.

    Args:
        pattern: As the shop wrote it; None for the plain way.

    Examples:
        >>> example_line("W={wf} L={lf} *"), example_line("Z{lf}in")
        ('W=16.010 L=80.001 1', 'Z3.1496in')
    """
    words = (pattern or "LF {lf} WF {wf}").split()
    inches = any("in" in _literals(word) for word in words)
    numbers = _EXAMPLE_IN if inches else _EXAMPLE_MM
    return " ".join(
        "1"
        if word == ANY_WORD
        else _PLACEHOLDER.sub(lambda found: numbers.get(found[1].upper(), found[0]), word)
        for word in words
    )


def _word(text: str) -> PatternWord:
    if text == ANY_WORD:
        return PatternWord(text, re.compile(r".+"), ())
    parts = _PLACEHOLDER.split(text)  # literal, name, literal, name, …, literal
    literals, names = parts[::2], parts[1::2]
    for literal in literals:
        if "{" in literal or "}" in literal:
            raise _bad(
                sentence(
                    "The pattern has a brace that stands alone in '{text}'.", text=text[:40]
                )
            )
    measures = []
    for name in names:
        if name.upper() not in MEASURES:
            raise _bad(
                sentence(
                    "The pattern has {{name}}, which is no measure: use {known}.",
                    name=name[:20],
                    known=_KNOWN,
                )
            )
        measures.append(name.upper())
    if not all(_APART.search(literal) for literal in literals[1:-1]):
        raise _bad(
            sentence(
                "The numbers in '{text}' run together: put a word, a space or a sign such as ; "
                "between them.",
                text=text[:40],
            )
        )
    source = f"({_NUMBER})".join(re.escape(literal) for literal in literals)
    return PatternWord(text, re.compile(source, re.IGNORECASE), tuple(measures))


def _literals(word: str) -> Iterator[str]:
    """What a word of a pattern says beside its numbers, in small letters."""
    return (part.strip("()[];:,.=").lower() for part in _PLACEHOLDER.sub(" ", word).split())


def _by_pattern(pattern: LinePattern, said: list[str]) -> Reading:
    found: dict[str, TenthsUm] = {}
    for place, word in enumerate(pattern.words, start=1):
        if place > len(said):
            raise _mismatch(place, word.expected, None)
        match = word.matches.fullmatch(said[place - 1])
        if match is None:
            raise _mismatch(place, word.expected, said[place - 1])
        for name, number in zip(word.measures, match.groups(), strict=True):
            found[name] = _length(number, place, name, in_inches=pattern.in_inches)
    if len(said) > len(pattern.words):
        place = len(pattern.words) + 1
        raise _mismatch(place, sentence("the end of the line"), said[place - 1])
    return _reading(found)


def _in_any_order(said: list[str]) -> Reading:
    found: dict[str, TenthsUm] = {}
    number_of = re.compile(_NUMBER)
    for place in range(1, len(said) + 1, 2):
        name = said[place - 1].upper()
        if name not in MEASURES or name in found:
            left = [f"'{one}'" for one in MEASURES if one not in found]
            raise _mismatch(
                place,
                together(OR, left) if left else sentence("the end of the line"),
                said[place - 1],
            )
        number = said[place] if place < len(said) else None
        if number is None or not number_of.fullmatch(number):
            raise _mismatch(place + 1, sentence("a number for {name}", name=name), number)
        found[name] = _length(number, place + 1, name, in_inches=False)
    return _reading(found)


def _reading(found: dict[str, TenthsUm]) -> Reading:
    return Reading(*(found.get(name) for name in MEASURES))


def _length(number: str, place: int, name: str, *, in_inches: bool) -> TenthsUm:
    sign = "-" if number.startswith("-") else ""
    # a display pads with zeros; more of them than a length has digits must not refuse it
    plain = number.lstrip("+-").replace(",", ".").lstrip("0")
    text = f"{sign}{plain}" if plain.strip(".") else "0"
    try:
        return tenths_um_from_in(text) if in_inches else tenths_um_from_mm(text)
    except Invalid as problem:
        raise _not_read(
            sentence(
                "Word {place} of the line, {name}: {sentence}",
                place=place,
                name=name,
                sentence=problem.sentence,
            ),
            place,
            sentence("a number for {name}", name=name),
            number,
        ) from problem


def _bad(sentence: str) -> Invalid:
    return Invalid(sentence, errors=[{"field": "pattern", "detail": sentence}])


def _mismatch(place: int, expected: str, found: str | None) -> Invalid:
    if found is None:
        text = sentence(
            "The line ends before word {place}: {expected} belongs there.",
            place=place,
            expected=expected,
        )
    else:
        text = sentence(
            "Word {place} of the line is '{found}': {expected} belongs there.",
            place=place,
            found=found[:40],
            expected=expected,
        )
    return _not_read(text, place, expected, found or "")


def _not_read(sentence: str, place: int, expected: str, found: str) -> Invalid:
    return Invalid(
        sentence,
        facts={"word": place, "expected": expected, "found": found[:40]},
        errors=[{"field": "line", "detail": sentence}],
    )
