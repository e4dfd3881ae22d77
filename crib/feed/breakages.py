"""Which conditions of an agent tell a broken tool, as the shop says, and which tool it was.

The open standard has no code for it: a machine's ``breakage_signals`` names native codes, or
ids or names of conditions. Without it nothing is ever taken for a breakage.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from crib.clock import print_instant
from crib.feed.choice import Followed
from crib.feed.documents import DataItem, Observation
from crib.records.columns import LONGEST_TEXT
from crib.usecases.book_feed import BreakageNews

#: Levels of a condition at which something is wrong (MTConnect, part 3).
_ACTIVE = ("Fault", "Warning")


class BreakageSignals:
    """Finds signals of breakage among what one agent says.

    A condition counts when it becomes active, and not again before it was normal: agents tell
    active ones again after each restart.

    Args:
        wanted: Codes, ids or names, ``|`` between them, ``*`` for any characters; None for
            none.
        tools: The tool number last told, by path; None where it was unknown.
    """

    def __init__(
        self, wanted: str | None, tools: Mapping[str, str | None] | None = None
    ) -> None:
        given = [one.strip() for one in (wanted or "").split("|")]
        self._patterns = [
            re.compile(re.escape(one).replace(r"\*", ".*"), re.DOTALL) for one in given if one
        ]
        self._tools: dict[str, str | None] = dict(tools or {})
        self._active: set[tuple[str, str]] = set()
        self._nobodys: dict[tuple[str, str], str] = {}

    @property
    def wanted(self) -> bool:
        """Whether any condition is looked for."""
        return bool(self._patterns)

    @property
    def problem(self) -> str | None:
        """Why a condition that holds could not be taken as a signal; None where all could."""
        return next(iter(self._nobodys.values()), None)

    def among(
        self, observations: Iterable[Observation], followed: Followed, *, is_current: bool
    ) -> list[BreakageNews]:
        """Signals among observations in the order of their sequences.

        Args:
            observations: What the agent said.
            followed: The machine's data items.
            is_current: Whether it is the last value of each item, not all that came to be.
        """
        if not self._patterns:
            return []
        told = list(observations)
        numbers = {item.item_id: item.path for item in followed.tool_number}
        conditions = {item.item_id: item for item in followed.conditions}
        changes: dict[str, Observation] = {}
        if is_current:
            # what was known before lies behind a stretch that nobody saw
            changes = {numbers[one.item_id]: one for one in told if one.item_id in numbers}
            self._tools = {path: one.text for path, one in changes.items()}
        found = []
        for one in told:
            if one.item_id in numbers:
                self._tools[numbers[one.item_id]] = one.text
            elif one.item_id in conditions and self._begins(one, conditions[one.item_id]):
                news = self._signal(
                    one, conditions[one.item_id], set(numbers.values()), changes
                )
                found += [news] if news else []
        return found

    def _begins(self, one: Observation, item: DataItem) -> bool:
        """Whether a condition that is looked for becomes active by it."""
        if one.tag == "Normal":
            # without a code all of the item are over
            over = {key for key in self._active if key[0] == one.item_id}
            if one.native_code:
                over = {(one.item_id, one.native_code)}
            self._active -= over
            self._nobodys = {k: words for k, words in self._nobodys.items() if k not in over}
        if one.tag not in _ACTIVE or (one.item_id, one.native_code) in self._active:
            return False
        names = (one.native_code, item.item_id, item.name)
        return any(name and p.fullmatch(name) for p in self._patterns for name in names)

    def _signal(
        self,
        one: Observation,
        item: DataItem,
        paths: set[str],
        changes: Mapping[str, Observation],
    ) -> BreakageNews | None:
        key = one.item_id, one.native_code
        self._active.add(key)
        path = item.path
        if path not in paths and len(paths) == 1:
            (path,) = paths
        number = self._tools.get(path)
        change = changes.get(path)
        # seen afterwards: the tool may have been changed since
        late = change is not None and change.at > one.at
        if number is None or late or not re.fullmatch("[0-9]{1,9}", number):
            self._nobodys[key] = (
                f"Condition {_called(one, item)} tells a breakage at {print_instant(one.at)}, "
                "but the agent does not tell which tool was in work then: look at the machine."
            )
            return None
        return BreakageNews(one.at, path, int(number), _words(one, item))


def _called(one: Observation, item: DataItem) -> str:
    return one.native_code or item.name or item.item_id


def _words(one: Observation, item: DataItem) -> str:
    words = f"{one.tag} {_called(one, item)}"
    return (f"{words}: {one.text}" if one.text else words)[:LONGEST_TEXT]
