"""One value of a record: read from a cell, printed back, refused with what would be right.

A refusal of a cell is a sentence without its subject, ``is not a number; write it like
12.5``: the caller puts the place and the value in front.
"""

from __future__ import annotations

import math
import re
from datetime import date, datetime
from decimal import Decimal

from crib.clock import parse_instant, print_instant
from crib.errors import Invalid
from crib.floor.closures import parse_local
from crib.records.bounds import plain
from crib.records.columns import LONGEST_LINES, LONGEST_TEXT, Column
from crib.records.plain_text import unseen
from crib.sentence import sentence, together
from crib.units import mm_from_tenths_um, tenths_um_from_mm

_NUMBER = re.compile(r"[+-]?(\d{1,20}(\.\d{0,30})?|\.\d{1,30})([eE][+-]?\d{1,3})?", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d{1,18}", re.ASCII)
_MONEY = re.compile(r"[+-]?\d{1,12}(\.\d{1,2}0*)?", re.ASCII)
_CLOCK = re.compile(r"(\d{1,2}):(\d\d)(:00)?", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_ESCAPED = re.compile(r"\\(.?)", re.DOTALL)
_ESCAPES = {"\\": "\\", "n": "\n", "r": "\r", "s": " "}
_YES = {"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False}


def read_cell(column: Column, text: str) -> object:
    """Turn the text of a cell into the value that is stored.

    Args:
        column: What the cell may hold; references are read as the text that names them.
        text: The cell, not empty.

    Returns:
        str, int, float, bool, datetime, date; an exact length as int [0.1 µm]; money as int
        of hundredths; a time as minutes after midnight.

    Raises:
        Invalid: The text is not such a value, or outside its bounds; says what would be right.
    """
    stripped = text.strip()
    value = _READERS[column.kind](column, stripped)
    _check_bounds(column, value)
    return value


def print_cell(column: Column, value: object) -> str:
    """Print a stored value as the canonical text of its cell; None is an empty cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if column.kind == "length" and isinstance(value, int):
        return mm_from_tenths_um(value)
    if column.kind == "money" and isinstance(value, int):
        return f"{Decimal(value) / 100:.2f}"
    if column.kind == "time" and isinstance(value, int):
        return f"{value // 60:02d}:{value % 60:02d}"
    if isinstance(value, tuple):
        return "|".join(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime):
        return print_instant(value)
    if isinstance(value, date):
        return value.isoformat()
    return _on_one_line(str(value)) if column.kind == "lines" else str(value)


def _read_text(column: Column, text: str) -> str:
    if len(text) > LONGEST_TEXT:
        raise Invalid(
            sentence(
                "is {text} characters long; at most {longest_text} are allowed",
                text=len(text),
                longest_text=LONGEST_TEXT,
            )
        )
    wrong = unseen(text)
    if wrong is not None:
        raise Invalid(wrong)
    return text


def _read_lines(column: Column, text: str) -> str:
    def meant(escape: re.Match[str]) -> str:
        if escape[1] not in _ESCAPES:
            raise Invalid(
                sentence(
                    "holds {escape}, which means nothing; write \\n for the end of a "
                    "line and \\\\ for a backslash",
                    escape=escape[0],
                )
            )
        return _ESCAPES[escape[1]]

    lines = _ESCAPED.sub(meant, text)
    if len(lines) > LONGEST_LINES:
        raise Invalid(
            sentence(
                "is {lines} characters long; at most {longest_lines} are allowed",
                lines=len(lines),
                longest_lines=LONGEST_LINES,
            )
        )
    wrong = unseen(lines.replace("\r\n", " ").replace("\n", " "))
    if wrong is not None:
        raise Invalid(wrong)
    return lines


def _on_one_line(lines: str) -> str:
    text = lines.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    # a cell loses the spaces around it
    front = len(text) - len(text.lstrip(" "))
    back = (len(text) - len(text.rstrip(" "))) if front < len(text) else 0
    return "\\s" * front + text[front : len(text) - back] + "\\s" * back


def _read_integer(column: Column, text: str) -> int:
    if not _WHOLE.fullmatch(text):
        raise Invalid(sentence("is not a whole number"))
    return int(text)


def _read_number(column: Column, text: str) -> float:
    if not _NUMBER.fullmatch(text):
        raise Invalid(sentence("is not a number; write it like 12.5"))
    value = float(text)
    if not math.isfinite(value):
        raise Invalid(sentence("is not a finite number; write it like 12.5"))
    return value


def _read_length(column: Column, text: str) -> int:
    try:
        return tenths_um_from_mm(text)
    except Invalid as problem:
        raise _without_subject(problem, text) from None


def _read_money(column: Column, text: str) -> int:
    if not _MONEY.fullmatch(text):
        raise Invalid(sentence("is not an amount; write it like 12.50"))
    return int(Decimal(text) * 100)


def _read_yes_no(column: Column, text: str) -> bool:
    try:
        return _YES[text.lower()]
    except KeyError:
        raise Invalid(sentence("is neither yes nor no; write yes or no")) from None


def _read_instant(column: Column, text: str) -> datetime:
    try:
        return parse_instant(text)
    except Invalid as problem:
        raise _without_subject(problem, text) from None


def _without_subject(problem: Invalid, text: str) -> Invalid:
    # these sentences begin with the value in quotes, which the reporter shows already
    said = re.sub(r"^'.*?' (mm )?(?=is |lies )", "", problem.sentence, flags=re.DOTALL)
    return Invalid(said.rstrip(".").replace(": ", "; ", 1))


def _read_date(column: Column, text: str) -> date:
    try:
        if _DAY.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError as problem:
        raise Invalid(
            sentence("is not a date ({problem}); write it like 2026-03-29", problem=problem)
        ) from None
    raise Invalid(sentence("is not a date; write it like 2026-03-29"))


def _read_time(column: Column, text: str) -> int:
    match = _CLOCK.fullmatch(text)
    minutes = int(match[1]) * 60 + int(match[2]) if match else -1
    if not match or int(match[2]) > 59 or minutes > 24 * 60:
        raise Invalid(sentence("is not a time of day; write it like 06:00 (24:00 is allowed)"))
    return minutes


def _read_local(column: Column, text: str) -> str:
    try:
        return parse_local(text)
    except Invalid as problem:
        raise _without_subject(problem, text) from None


def _read_choice(column: Column, text: str) -> str:
    word = text.lower()
    joined = re.sub(r"[\s_-]+", "_", word)
    for choice in column.choices:
        if choice.lower() in (word, joined):
            return choice
    for other, choice in column.spellings:
        if other == joined:
            return choice
    raise Invalid(sentence("is not an allowed word; {right_for}", right_for=right_for(column)))


_SHAPES = {
    "text": sentence("plain text"),
    "lines": sentence("text with \\n for the end of a line and \\\\ for a backslash"),
    "integer": sentence("a whole number"),
    "number": sentence("a number like 12.5"),
    "length": sentence("a length in mm like 12.3456"),
    "money": sentence("an amount like 12.50"),
    "yes_no": sentence("yes or no"),
    "instant": sentence("an instant with its offset, like 2026-03-29T01:30:00+01:00"),
    "date": sentence("a date like 2026-03-29"),
    "time": sentence("a time of day like 06:00"),
    "local": sentence("a day like 2026-12-24 or a local time like 2026-12-24T14:00"),
}


def right_for(column: Column) -> str:
    """What a cell of the column takes, as an instruction.

    Examples:
        >>> right_for(Column("passes", "integer", minimum=1, maximum=9))
        'write a whole number, at least 1, at most 9'
    """
    if column.kind == "choice":
        *first, last = column.choices
        return (
            sentence("write {first} or {last}", first=together(", ", first), last=last)
            if first
            else sentence("write {last}", last=last)
        )
    shape = _SHAPES[column.kind]
    if column.many:
        shape = sentence("names with | between them")
    pairs = (
        (sentence("at least"), column.minimum),
        (sentence("more than"), column.above),
        (sentence("at most"), column.maximum),
    )
    bounds = [
        together(" ", (words, plain(bound))) for words, bound in pairs if bound is not None
    ]
    span = together(", ", bounds)
    if column.zero:
        span = sentence("0 or {span}", span=span)
    return together(", ", [sentence("write {shape}", shape=shape), *([span] if span else [])])


def read_names(column: Column, text: str) -> tuple[str, ...]:
    """Names separated by ``|``, in the order written.

    Raises:
        Invalid: A name is empty, given twice, or no plain text.
    """
    names = tuple(name.strip() for name in text.split("|"))
    if not all(names):
        raise Invalid(
            sentence("has nothing on one side of a |; write names with | between them")
        )
    for position, name in enumerate(names):
        _read_text(column, name)
        if name in names[:position]:
            raise Invalid(sentence("names {name} twice; write every name once", name=name))
    return names


_READERS = {
    "text": _read_text,
    "lines": _read_lines,
    "integer": _read_integer,
    "number": _read_number,
    "length": _read_length,
    "money": _read_money,
    "yes_no": _read_yes_no,
    "instant": _read_instant,
    "date": _read_date,
    "time": _read_time,
    "local": _read_local,
    "choice": _read_choice,
}


def implausible(column: Column, value: object) -> str | None:
    """Why a stored value is outside the bounds of its column; None where it is plausible.

    Examples:
        >>> implausible(Column("wear_mm", "number", minimum=0.005, maximum=3), 12.0)
        'is not plausible; write a number like 12.5, at least 0.005, at most 3'
    """
    if value is None or isinstance(value, bool) or column.reference:
        return None
    if column.kind not in ("integer", "number", "length", "money"):
        return None
    if not isinstance(value, (int, float)):
        return sentence("is not a number; {right_for}", right_for=right_for(column))
    plain_value, bounds = value / column.scale, column.bounds
    if bounds.admits(plain_value):
        return None
    question = bounds.question(plain_value)
    return (
        sentence(
            "is not plausible; {right_for}.{question}",
            right_for=right_for(column),
            question=question,
        )
        if question
        else sentence(
            "is not plausible; {right_for}{question}",
            right_for=right_for(column),
            question=question,
        )
    )


def _check_bounds(column: Column, value: object) -> None:
    if why := implausible(column, value):
        raise Invalid(why)
