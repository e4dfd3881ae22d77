"""Which characters a name or note may hold, and which cells a spreadsheet would run."""

from __future__ import annotations

import re
import unicodedata

from crib.sentence import sentence

# Joiners change how letters of some scripts are written; all else that formats is invisible.
_JOINERS = "\u200c\u200d"
_UNSEEN = {"Cc", "Cf", "Cs", "Zl", "Zp"}

# What a spreadsheet takes for a formula where a cell begins with it, behind any number of
# apostrophes of ours; full-width forms are taken alike.
_RUNS = re.compile(r"'*[=+\-@\t\r＝＋－＠]")


def unseen(text: str) -> str | None:
    r"""Why a text is not plain text, or None.

    Refused are control characters, separators of lines, and what changes the direction of
    text or is invisible (general categories Cc, Zl, Zp, Cf and Cs of the Unicode standard):
    two names that look alike would not be the same.

    Examples:
        >>> unseen("Bär, Ø 12 µm"), unseen("left\u202eright")
        (None, 'holds the invisible character U+202E')
    """
    if text.isprintable():
        return None
    for character in text:
        category = unicodedata.category(character)
        if category == "Cc":
            return sentence("holds a line break or control character")
        if category in _UNSEEN and character not in _JOINERS:
            return sentence(
                "holds the invisible character U+{ord}", ord=format(ord(character), "04X")
            )
    return None


def inert(text: str) -> str:
    """A cell that no spreadsheet runs as a formula; :func:`as_meant` takes it back.

    Examples:
        >>> inert("=1+1"), inert("'=1+1"), inert("12-A")
        ("'=1+1", "''=1+1", '12-A')
    """
    return "'" + text if _RUNS.match(text) else text


def as_meant(cell: str) -> str:
    """The text of a cell that :func:`inert` may have written."""
    return cell[1:] if cell.startswith("'") and _RUNS.match(cell) else cell
