"""Sentences that the domain makes, said in the reader's language."""

from __future__ import annotations

from api.language.catalogue import catalogue
from api.language.preferences import preferences


def say(sentence: object) -> str:
    """A sentence of the domain in the reader's language; as it is where there is no entry."""
    return catalogue(preferences().language).text(str(sentence))
