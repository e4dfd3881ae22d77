"""Which conditions of an agent tell a broken tool, as the shop says, and which tool it was.

The open standard has no code for it: a machine's ``breakage_signals`` names native codes, or
ids or names of conditions. Without it nothing is ever taken for a breakage.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from crib.acts.book_feed import BreakageNews
from crib.feed.choice import Followed
from crib.feed.documents import DataItem, Observation
from crib.records.columns import LONGEST_TEXT
from crib.sentence import sentence

#: Levels of a condition at which something is wrong (MTConnect, part 3).
_ACTIVE = ("Fault", "Warning")
#: An adapter that came back reports its conditions within this time; some first report none.
_TOLD_ANEW_WITHIN = timedelta(seconds=10)
NOT_WHICH = sentence("The machine does not say which tool was in work then.")

#: Item and native code.
Condition = tuple[str, str]


class BreakageSignals:
    """Finds signals of breakage among what one agent says.

    A condition counts when it becomes active, and not again before it was normal: agents tell
    active ones again after each restart, and with a new time after their adapter came back.

    Args:
        wanted: Codes, ids or names, ``|`` between them, ``*`` for any characters; None for
            none.
        tools: The last tool number, by path; None where it was unknown.
        active: Conditions that were active when the agent was read last: item and code.
    """

    def __init__(
        self,
        wanted: str | None,
        tools: Mapping[str, str | None] | None = None,
        active: Iterable[Condition] = (),
    ) -> None:
        given = [one.strip() for one in (wanted or "").split("|")]
        self._patterns = [
            re.compile(re.escape(one).replace(r"\*", ".*"), re.DOTALL) for one in given if one
        ]
        self._tools: dict[str, str | None] = dict(tools or {})
        self._active: set[Condition] = set(active)
        #: What was active before an item became unknown, and since when it is known again.
        self._before: dict[str, set[Condition]] = {}
        self._known_since: dict[str, datetime] = {}

    @property
    def wanted(self) -> bool:
        """Whether any condition is looked for."""
        return bool(self._patterns)

    @property
    def active(self) -> frozenset[Condition]:
        """Conditions that are active by what was read."""
        return frozenset(self._active)

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
                found.append(
                    self._signal(one, conditions[one.item_id], set(numbers.values()), changes)
                )
        return found

    def _begins(self, one: Observation, item: DataItem) -> bool:
        """Whether a condition that is looked for becomes active by it."""
        key = one.item_id, one.native_code
        if one.tag == "Unavailable":
            of_item = {known for known in self._active if known[0] == one.item_id}
            self._before[one.item_id] = of_item | self._before.get(one.item_id, set())
            self._known_since.pop(one.item_id, None)
            return False
        if one.item_id in self._before:
            self._known_since.setdefault(one.item_id, one.at)
        if one.tag == "Normal":
            # without a code all of the item are over
            over = {known for known in self._active if known[0] == one.item_id}
            self._active -= {key} if one.native_code else over
        if one.tag not in _ACTIVE:
            return False
        if key in self._active:
            self._before.get(one.item_id, set()).discard(key)
            return False
        self._active.add(key)
        names = (one.native_code, item.item_id, item.name)
        named = any(name and p.fullmatch(name) for p in self._patterns for name in names)
        return named and not self._came_back(one, key)

    def _came_back(self, one: Observation, key: Condition) -> bool:
        """Whether it was active before the item was unknown, and is only repeated."""
        if key not in self._before.get(one.item_id, ()):
            return False
        self._before[one.item_id].discard(key)
        return one.at - self._known_since[one.item_id] <= _TOLD_ANEW_WITHIN

    def _signal(
        self,
        one: Observation,
        item: DataItem,
        paths: set[str],
        changes: Mapping[str, Observation],
    ) -> BreakageNews:
        path = item.path
        if path not in paths and len(paths) == 1:
            (path,) = paths
        number = self._tools.get(path)
        change = changes.get(path)
        # seen afterwards: the tool may have been changed since
        late = change is not None and change.at > one.at
        if number is None or late or not re.fullmatch("[0-9]{1,9}", number):
            return BreakageNews(one.at, path, None, _words(one, item), NOT_WHICH)
        return BreakageNews(one.at, path, int(number), _words(one, item))


def _called(one: Observation, item: DataItem) -> str:
    return one.native_code or item.name or item.item_id


def _words(one: Observation, item: DataItem) -> str:
    words = f"{one.tag} {_called(one, item)}"
    return (f"{words}: {one.text}" if one.text else words)[:LONGEST_TEXT]
