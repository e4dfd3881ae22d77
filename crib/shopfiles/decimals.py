"""The decimal mark of one file: point or comma, one of them throughout, never misread.

Where commas separate the cells, only the point is a decimal mark. Elsewhere the first number
with a mark decides for the whole file, and a number with the other mark is refused. A number
such as 1,234 or 1.234 then says nothing by itself (twelve hundred, or little more than one):
it is believed if some number of the file shows the mark to be the decimal one, by its digits
or because its column takes no thousands.
"""

from __future__ import annotations

import re

from crib.errors import Invalid
from crib.records.columns import Column
from crib.shopfiles.errors import MOST_LISTED
from crib.units import LONGEST_MM

_NUMERAL = re.compile(r"[+-]?(?=[.,]?\d)[\d.,]+([eE][+-]?\d+)?", re.ASCII)
_MAYBE_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_NAMES = {".": "point", ",": "comma"}


class DecimalMark:
    """What is known so far of one file's decimal mark.

    Attributes:
        doubtful: Line, column name and text of the numbers read on trust.
        proved: Whether a number was met that cannot be grouped thousands.
    """

    def __init__(self, separator: str) -> None:
        self._commas_separate = separator == ","
        self._mark: str | None = None
        self._since = 0
        self.proved = False
        self.doubtful: list[tuple[int, str, str]] = []

    def with_point(self, text: str, line: int, column: Column) -> str:
        """The number with a decimal point; text that is no number comes back as it is.

        Raises:
            Invalid: The mark may not stand here; the sentence lacks its subject, the number.
        """
        marks = text.count(".") + text.count(",")
        if not marks or not _NUMERAL.fullmatch(text):
            return text
        if self._commas_separate:
            if "," in text:
                raise Invalid(
                    "has a comma, and commas separate the cells of this file; write a decimal "
                    "point, like 12.5, and no thousands separator"
                )
            return text
        if marks > 1:
            raise Invalid("groups its thousands; write it without, like 1234.5")
        self._agree("," if "," in text else ".", line)
        if not _MAYBE_GROUPED.fullmatch(text) or _too_large_if_grouped(column, text):
            self.proved = True
        elif not self.proved and len(self.doubtful) < MOST_LISTED:
            self.doubtful.append((line, column.name, text))
        return text.replace(",", ".")

    def _agree(self, mark: str, line: int) -> None:
        if self._mark is None:
            self._mark, self._since = mark, line
        elif mark != self._mark:
            raise Invalid(
                f"has a decimal {_NAMES[mark]}, but line {self._since} has a decimal "
                f"{_NAMES[self._mark]}; write the same one in the whole file"
            )

    def in_doubt(self) -> list[tuple[int, str, str]]:
        """At the end of the file: the numbers of which nothing showed what they mean."""
        return [] if self.proved else self.doubtful


def _too_large_if_grouped(column: Column, text: str) -> bool:
    most = column.maximum
    if most is None and column.kind == "length":
        most = LONGEST_MM
    return most is not None and int(text.lstrip("+-").replace(",", "").replace(".", "")) > most
