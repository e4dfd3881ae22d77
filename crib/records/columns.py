"""What one column of a record may hold: its kind, its bounds, what it points at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crib.records.bounds import Bounds
from crib.units import TENTHS_UM_PER_MM

Kind = Literal[
    "text",
    "lines",
    "integer",
    "number",
    "length",
    "money",
    "yes_no",
    "instant",
    "date",
    "time",
    "local",
    "choice",
]

#: Longest text that a cell may hold; longer is a slip (a pasted page), never a name.
LONGEST_TEXT = 500

#: Longest text of several lines.
LONGEST_LINES = 4_000


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a shop file, a JSON resource and a table, described once.

    Attributes:
        name: Name in the file and in JSON, unit included.
        kind: ``length`` is an exact length [0.1 µm] written in mm; ``money`` an integer of
            hundredths; ``time`` minutes after midnight (24:00 is 1440); ``local`` the text of a
            whole day or of a wall time in the zone of the row's calendar; ``lines`` text of
            several lines, which stand on one in a file.
        required: Whether an empty cell is refused.
        choices: Allowed words of a ``choice``.
        spellings: Further words of a file for a choice: (word, choice).
        reference: Record that the text names by its key, if any.
        many: Several references separated by ``|``.
        minimum: Smallest value, itself allowed (in the unit of the name).
        above: Value that must be exceeded (in the unit of the name).
        maximum: Largest value, itself allowed (in the unit of the name).
        zero: Whether 0 is allowed below ``minimum``: none, or nothing known.
        usual: What shops mostly write, to guess a slip of the decimal point or the unit.
        source: Where the bounds come from.
        default: Value taken for an empty cell.
        explains: One line for the reader of an error or of the documentation.
    """

    name: str
    kind: Kind = "text"
    required: bool = False
    choices: tuple[str, ...] = ()
    spellings: tuple[tuple[str, str], ...] = ()
    reference: str | None = None
    many: bool = False
    minimum: float | None = None
    above: float | None = None
    maximum: float | None = None
    zero: bool = False
    usual: tuple[float, float] | None = None
    source: str = "common practice, no source"
    default: object = None
    explains: str = ""

    @property
    def bounds(self) -> Bounds:
        """Between which values it is plausible."""
        return Bounds(self.minimum, self.above, self.maximum, self.zero, self.usual)

    @property
    def scale(self) -> int:
        """Stored units to one of the name: 0.1 µm to the mm, hundredths to the amount."""
        return {"length": TENTHS_UM_PER_MM, "money": 100}.get(self.kind, 1)

    @property
    def stored(self) -> str:
        """Name of the table column that holds it."""
        if self.reference:
            return f"{self.name}_id"
        if self.kind == "length":
            return self.name.removesuffix("_mm") + "_tenths_um"
        if self.kind == "money":
            return f"{self.name}_minor"
        if self.kind == "time":
            return f"{self.name}_minute"
        if self.kind == "local":
            return f"{self.name}_local"
        return self.name


@dataclass(frozen=True, slots=True)
class Record:
    """One kind of record: a shop file, a REST collection and a table.

    Attributes:
        name: Table name and plural noun.
        noun: What one of them is called in a sentence.
        file: Name of its CSV file, or None where only the service keeps it.
        key: Columns that tell one from another.
        columns: All columns in file order.
        code_kind: Kind letter of the codes that its rows carry, if any.
        owner: Record whose rows own these as a set (a part its operations).
    """

    name: str
    noun: str
    file: str | None
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    code_kind: str | None = None
    owner: str | None = None

    def column(self, name: str) -> Column:
        """The column called ``name``; KeyError where there is none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)
