"""Reading a designation position by position, and the word for what cannot be read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from crib.sentence import sentence

#: Dashes that typesetting makes of a plain one.
_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—−", "-"))
#: Most options that a refusal lists one by one.
_LISTED = 32


class Unreadable(Exception):  # noqa: N818 - caught in this room, told as a refusal
    """The text stops making sense here.

    Attributes:
        position: The standard's own number of the position, from 1.
        at: Index of the first character that does not belong.
        what: What stands at this position.
        options: Every text that may stand there, if they can be listed.
        words: The same for a reader.
    """

    def __init__(
        self, position: int, at: int, what: str, options: Sequence[str], words: Sequence[str]
    ) -> None:
        super().__init__(what)
        self.position, self.at, self.what = position, at, what
        self.options, self.words = list(options), list(words)


class Scanner:
    """A text and how far it was read."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0

    @property
    def left(self) -> str:
        """What was not read yet."""
        return self.text[self.at :]

    def take(
        self,
        position: int,
        what: str,
        options: Iterable[str],
        words: Sequence[str] | None = None,
    ) -> str:
        """Read one of some options, the longest that is there.

        Raises:
            Unreadable: None of them stands here.
        """
        allowed = list(options)
        here = [option for option in allowed if self.text.startswith(option, self.at)]
        if here:
            found = max(here, key=len)
            self.at += len(found)
            return found
        shown = words or (allowed if len(allowed) <= _LISTED else [*allowed[:_LISTED], "…"])
        raise Unreadable(position, self.at, what, allowed, shown)

    def take_if(self, options: Iterable[str]) -> str:
        """Read one character if it is one of some; else nothing."""
        found = self.text[self.at : self.at + 1]
        if found and found in options:
            self.at += 1
            return found
        return ""

    def take_end(self, position: int) -> None:
        """Refuse whatever is left.

        Raises:
            Unreadable: Something is.
        """
        if self.left:
            what = sentence("end of the text")
            raise Unreadable(position, self.at, what, [""], [what])

    def take_maker(self, position: int, longest: int = 20) -> str:
        """Read the maker's own letters after a dash, up to the end of the text.

        Raises:
            Unreadable: Something else follows.
        """
        what = sentence("end of the text, or '-' and the maker's letters")
        if not self.left:
            return ""
        maker = self.left[1:]
        groups = maker.split("-")
        plain = maker.isascii() and all(group.isalnum() for group in groups)
        if self.left[0] != "-" or not plain or len(maker) > longest:
            raise Unreadable(position, self.at, what, [""], [what])
        self.at = len(self.text)
        return maker


def plain_text(text: str) -> str:
    """The text as its standard writes it: no blanks, capitals, plain dashes.

    Examples:
        >>> plain_text("ccmt 09 t3 04-pf")
        'CCMT09T304-PF'
    """
    joined = "".join(text.split()).translate(_DASHES)
    # Not upper() as a whole: it makes two letters of some that belong to no designation.
    return "".join(letter.upper() if letter.isascii() else letter for letter in joined)
