"""Which paths of a machine have a part counter of their own, as its record says it.

Written ``PATH:ITEM*PARTS``, several with ``|`` between them: ``1:main_parts|2:sub_parts*2``.
``:ITEM`` may be left out where no agent is followed, ``*PARTS`` where a cycle makes one part.
"""

from __future__ import annotations

import re
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from crib.sentence import sentence

_ONE = re.compile(r"([1-9][0-9]?)(?::([^|]*?))?(?:\*([0-9]{1,4}))?", re.ASCII)
_MOST_PARTS = 1000
_NO_PATH = 10**9


class PathCounter(NamedTuple):
    """The part counter of a path: its data item at the agent, and the parts of one cycle."""

    item: str | None
    parts_per_cycle: int


PathCounters = MappingProxyType[int, PathCounter]
NO_PATH_COUNTERS: PathCounters = MappingProxyType({})


@lru_cache(maxsize=2048)
def path_counters(text: str | None) -> PathCounters:
    """The counters of a machine by path, the lowest path first; none where it has one for all.

    Raises:
        ValueError: The text is no list of counters; says what is wrong.

    Examples:
        >>> dict(path_counters("2:sub*2|1:main"))
        {1: PathCounter(item='main', parts_per_cycle=1), 2: PathCounter(item='sub', parts_per_cycle=2)}
    """  # noqa: E501
    if not text:
        return NO_PATH_COUNTERS
    found: dict[int, PathCounter] = {}
    items: set[str] = set()
    for word in text.split("|"):
        read = _ONE.fullmatch(word.strip())
        if read is None or (read[2] is not None and not read[2].strip()):
            raise ValueError(
                sentence("has '{word}', which is no counter of a path", word=word.strip()[:40])
            )
        path, item, parts = int(read[1]), (read[2] or "").strip() or None, int(read[3] or 1)
        if path in found:
            raise ValueError(sentence("names path {path} twice", path=path))
        if item in items:
            raise ValueError(sentence("has the counter {item} for two paths", item=item))
        if not 1 <= parts <= _MOST_PARTS:
            raise ValueError(
                sentence("has {parts} parts per cycle for path {path}", parts=parts, path=path)
            )
        found[path] = PathCounter(item, parts)
        items |= {item} if item else set()
    return MappingProxyType(dict(sorted(found.items())))


def path_number(path: object) -> int | None:
    """The number of a path as a machine calls it: the digits at its end; None without any.

    Examples:
        >>> path_number(2), path_number("path2"), path_number("main"), path_number(None)
        (2, 2, None, None)
    """
    if isinstance(path, int) and not isinstance(path, bool):
        return path if 0 < path < _NO_PATH else None
    digits = re.search(r"[0-9]{1,20}\Z", path, re.ASCII) if isinstance(path, str) else None
    number = int(digits[0]) if digits else 0
    return number if 0 < number < _NO_PATH else None
