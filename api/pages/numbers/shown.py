"""What a page of a calculation is made of: entries, formula lines, results, sources."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from api.pages.numbers.mathml import Figure
from crib.errors import Invalid
from crib.sentence import Figure as Written
from crib.sentence import Sentence, sentence

_ROOT: Final = Path(__file__).parents[3]

Body = dict[str, Any]
Read = Callable[[str], Any]


def number(text: str) -> float:
    """A typed number.

    Raises:
        Invalid: It is not a number; a decimal comma has its own message.
    """
    if "," in text:
        raise Invalid(sentence("holds a comma; write the decimals after a point, like 0.05"))
    try:
        if "_" in text or len(text) > 40:
            raise ValueError
        return float(text)
    except ValueError:
        raise Invalid(sentence("is not a number")) from None


def whole(text: str) -> int:
    """A typed whole number.

    Raises:
        Invalid: It is none.
    """
    if not (text.isascii() and text.removeprefix("-").isdigit() and len(text) < 16):
        raise Invalid(sentence("is not a whole number"))
    return int(text)


def percent_text(share: float, form: str) -> Sentence:
    """A share in per cent, as a table says it; a negative one with the sign of formulas.

    Examples:
        >>> percent_text(-0.1, "+.0f"), percent_text(0.125, ".1f")
        ('−10 %', '12.5 %')
    """
    return sentence("{percent} %", percent=Written(format(100 * share, form).replace("-", "−")))


def numbers(text: str) -> list[float]:
    """Typed numbers with spaces or line breaks between them.

    Raises:
        Invalid: One of them is none.
    """
    return [_one_of(part, number) for part in text.split()]


def lives(text: str) -> list[dict[str, Any]]:
    """Typed ages; a plus behind one says that the edge was taken out early.

    Raises:
        Invalid: One of them is no number.
    """
    return [
        {"age": _one_of(part.removesuffix("+"), number), "ended": not part.endswith("+")}
        for part in text.split()
    ]


def typed_lines(
    text: str, what: str, *reads: Callable[[str], float]
) -> list[tuple[float, ...]]:
    """Typed lines of as many figures as there are readers.

    Raises:
        Invalid: A line with more or fewer, or one that is no number; ``what`` says what a
            line has to hold.
    """
    found = []
    for place, line in enumerate(filter(str.strip, text.splitlines()), start=1):
        parts = line.split()
        if len(parts) != len(reads):
            raise Invalid(sentence("line {place} has to hold {what}", place=place, what=what))
        found.append(tuple(_one_of(p, read) for p, read in zip(parts, reads, strict=True)))
    return found


def jobs(text: str) -> list[dict[str, Any]]:
    """Typed jobs, one a line: name, minutes, minutes until due.

    Raises:
        Invalid: A line without these three.
    """
    found = []
    for place, line in enumerate(filter(str.strip, text.splitlines()), start=1):
        words = line.split()
        if len(words) < 3:
            raise Invalid(
                sentence(
                    "line {place} has to hold a name, minutes and minutes until due",
                    place=place,
                )
            )
        minutes, due = (_one_of(word, number) for word in words[-2:])
        found.append({"name": " ".join(words[:-2]), "minutes": minutes, "due_min": due})
    return found


def yes_no(text: str) -> bool:
    """One of two choices: on diameter, or not."""
    return text == "on diameter"


def words(text: str) -> str:
    """Typed text as it stands."""
    return text


def _one_of(part: str, read: Callable[[str], float]) -> float:
    try:
        return read(part)
    except Invalid as refusal:
        raise Invalid(f"'{part[:20]}' " + refusal.sentence) from refusal


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing to type in.

    Attributes:
        name: As the REST call names it.
        label: For a reader.
        example: What stands there on a first visit; empty: left out.
        unit: Its unit.
        symbol: Its letter in the formulas, empty for none.
        read: Turns the text into what the call takes.
        choices: Words to choose from; empty: typed.
        lines: Rows of a larger field; 0: one line.
    """

    name: str
    label: str
    example: str = ""
    unit: str = ""
    symbol: str = ""
    read: Read = number
    choices: tuple[str, ...] = ()
    lines: int = 0


@dataclass(frozen=True, slots=True)
class Line:
    """One formula: ``left = right`` as an arithmetic expression, and the unit of the left.

    ``when`` names a case in which alone it holds.
    """

    text: str
    unit: str = ""
    when: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """One member of the answer: its path with dots, what it is, its unit."""

    path: str
    label: str
    unit: str = ""

    def of(self, answer: Mapping[str, Any]) -> Any:
        """Its value, None where the answer has none."""
        value: Any = answer
        for step in self.path.split("."):
            value = value.get(step) if isinstance(value, Mapping) else None
        return value


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures by letter, and the cases that hold."""

    by_letter: Mapping[str, Figure]
    cases: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Table:
    """Rows that belong to an answer."""

    caption: str
    heads: tuple[str, ...]
    rows: Sequence[Sequence[str]]


def no_tables(_body: Body, _answer: Body) -> list[Table]:
    """Most answers are single numbers."""
    return []


@dataclass(frozen=True, slots=True)
class Working:
    """One calculation.

    Attributes:
        slug: Last part of the address.
        title: What is worked out.
        says: What it is good for, in one or two sentences.
        entries: What to type in.
        work: The calculation: what the REST call takes to what it answers.
        figures: Figures of the formulas from both.
        lines: The formulas.
        results: Members of the answer that are shown.
        source: Where the formulas come from.
        functions: The functions that work it out, first the one that a reader wants.
        call: The same for programs; empty for none.
        tables: Rows that belong to the answer.
        caution: What to keep in mind.
    """

    slug: str
    title: str
    says: str
    entries: tuple[Entry, ...]
    work: Callable[[Body], Body]
    figures: Callable[[Body, Body], Figures]
    lines: tuple[Line, ...]
    results: tuple[Result, ...]
    source: str
    functions: tuple[Callable[..., Any], ...]
    call: str = ""
    tables: Callable[[Body, Body], list[Table]] = no_tables
    caution: str = ""


@dataclass(frozen=True, slots=True)
class CodePlace:
    """A function of the program: where it stands and its text."""

    file: str
    name: str
    line: int
    text: str


@cache
def code_place(function: Callable[..., Any]) -> CodePlace:
    """Where a function stands."""
    text, line = inspect.getsourcelines(function)
    file = Path(inspect.getsourcefile(function) or "").relative_to(_ROOT)
    return CodePlace(file.as_posix(), function.__qualname__, line, "".join(text))
