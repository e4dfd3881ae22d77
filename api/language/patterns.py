"""Finds the template that a finished sentence was made from, among hundreds, quickly."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from api.language.catalogue import HOLE

_WORD = re.compile(r"[A-Za-z]+")
#: A template with fewer letters written out takes only short values, such as "{0} to {1}".
_FEW_LETTERS = 6
_WORDY = re.compile(r"[;:,]|[^\d\s]\S* \S|\S+ \S+ \S")


@dataclass(frozen=True, slots=True)
class Hole:
    """A value that was in a template, with what stands around it.

    Attributes:
        name: Its name in the template.
        value: What the sentence has there.
        before: The written-out text before it.
        after: The written-out text after it.
    """

    name: str
    value: str
    before: str
    after: str


@dataclass(slots=True)
class _Template:
    text: str
    literals: list[str]
    names: list[str]
    pattern: re.Pattern[str] | None = None

    @property
    def weight(self) -> int:
        return sum(map(len, self.literals))

    @property
    def weak(self) -> bool:
        """Whether so little is written out that it fits where it is not meant."""
        literal = " ".join(self.literals)
        return ":" not in literal and len("".join(_WORD.findall(literal))) < _FEW_LETTERS

    def match(self, sentence: str) -> list[Hole] | None:
        if self.pattern is None:
            self.pattern = re.compile("(.*?)".join(map(re.escape, self.literals)), re.DOTALL)
        found = self.pattern.fullmatch(sentence)
        if found is None:
            return None
        if self.weak and any(map(_WORDY.search, found.groups())):
            return None
        around = zip(self.literals, self.literals[1:], strict=False)
        return [
            Hole(name, value, before, after)
            for name, value, (before, after) in zip(
                self.names, found.groups(), around, strict=True
            )
        ]

    def words(self) -> set[str]:
        """Words that a sentence of this template certainly holds whole."""
        marked = "\0".join(self.literals)
        return {
            found.group()
            for found in _WORD.finditer(marked)
            if "\0" not in marked[max(found.start() - 1, 0) : found.end() + 1]
        }


@dataclass(slots=True)
class Patterns:
    """Templates by the rarest word that each of them holds; compiled when first tried."""

    _by_word: dict[str, list[_Template]] = field(default_factory=dict)

    @classmethod
    def of(cls, texts: Iterable[str]) -> Patterns:
        """Index the texts that have holes; one without a whole word would fit anything."""
        templates = [
            _Template(text, HOLE.split(text)[::2], HOLE.findall(text))
            for text in texts
            if HOLE.search(text)
        ]
        words = [template.words() for template in templates]
        common = Counter(word for each in words for word in each)
        patterns = cls()
        for template, each in zip(templates, words, strict=True):
            if each:
                rarest = min(sorted(each), key=common.__getitem__)
                patterns._by_word.setdefault(rarest, []).append(template)
        return patterns

    def find(self, sentence: str) -> Iterator[tuple[str, list[Hole]]]:
        """Templates that make the sentence, with their values; the longest one first."""
        fitting = [
            template
            for word in set(_WORD.findall(sentence))
            for template in self._by_word.get(word, ())
        ]
        for template in sorted(fitting, key=lambda each: (-each.weight, each.text)):
            holes = template.match(sentence)
            if holes is not None:
                yield template.text, holes
