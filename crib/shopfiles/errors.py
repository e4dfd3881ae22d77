"""What is wrong in a shop file: the place, the value, the reason, what would be right."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches

from crib.errors import Invalid

#: So many errors are listed; the rest is counted.
MOST_LISTED = 200

_LONGEST_SHOWN = 60


@dataclass(frozen=True, slots=True)
class RowError:
    """One thing to put right before the folder can be imported.

    Attributes:
        file: Name of the file, or of the folder.
        line: Line of the file as an editor counts it, from 1; None for the whole file.
        column: Name of the column; empty for the whole row.
        value: The cell as it was written; None where there is none to show.
        reason: What is wrong, its subject being the value (or the place, without one).
        right: What to do about it.
    """

    file: str
    line: int | None
    column: str
    value: str | None
    reason: str
    right: str

    def __str__(self) -> str:
        """``file:line:column: 'value' reason; what would be right``."""
        place = ":".join(str(part) for part in (self.file, self.line, self.column) if part)
        shown = "" if self.value is None else f"'{_printable(self.value)}' "
        return f"{place}: {shown}{self.reason}; {self.right}"


@dataclass(slots=True)
class Problems:
    """Everything that was found wrong: the first ones in full, the others counted."""

    listed: list[RowError] = field(default_factory=list)
    count: int = 0

    def add(self, error: RowError) -> None:
        """Take one more."""
        self.count += 1
        if len(self.listed) < MOST_LISTED:
            self.listed.append(error)

    @property
    def unlisted(self) -> int:
        """How many were found beyond those listed."""
        return self.count - len(self.listed)


def reason_and_right(problem: Invalid, otherwise: str) -> tuple[str, str]:
    """The two halves of a refused cell's sentence; ``otherwise`` where it has one half."""
    reason, _, right = problem.sentence.partition("; ")
    return reason, right or otherwise


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that a mistyped one most likely means, if any is near.

    Examples:
        >>> nearest("Quantitty", ["lot", "quantity"])
        'quantity'
    """
    names = {one.casefold(): one for one in known}
    found = get_close_matches(name.casefold(), names, n=1, cutoff=0.6)
    return names[found[0]] if found else None


def _printable(text: str) -> str:
    short = text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 1] + "…"
    return "".join(
        character if character.isprintable() else character.encode("unicode_escape").decode()
        for character in short
    )
