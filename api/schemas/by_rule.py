"""Values that a rule beside the API's document forbids, apart from unreadable ones."""

from __future__ import annotations

from crib.sentence import Sentence, sentence


class ByRule(Sentence):
    """What is wrong with a value that can be read: a rule beside the document forbids it."""

    __slots__ = ()


def by_rule(told: Sentence) -> ByRule:
    """Messages that are such a rule's."""
    return ByRule(told.template, told.values)


NAMED_IN_MM = by_rule(
    sentence("is named in mm, but the address says length_unit=in: end its name in _in")
)
