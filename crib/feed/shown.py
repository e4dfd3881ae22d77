"""Prints what feeds bring instead of booking it, to try out an agent."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator

from crib.acts.book_feed import FeedNews
from crib.clock import print_instant


class Printer:
    """Prints news as lines; books nothing.

    Args:
        write: Takes each line.
        as_json: Whether each line is a JSON object.
    """

    def __init__(self, write: Callable[[str], None], *, as_json: bool) -> None:
        self._write = write
        self._lines = json_lines if as_json else plain_lines

    async def book(self, news: FeedNews) -> None:
        """Print it."""
        for line in self._lines(news):
            self._write(line)


def json_lines(news: FeedNews) -> Iterator[str]:
    """One object for each thing said."""
    for told in _told(news):
        yield json.dumps({"machine": news.machine} | told, ensure_ascii=False)


def plain_lines(news: FeedNews) -> Iterator[str]:
    """One line for each thing said."""
    for told in _told(news):
        kind = told.pop("kind")
        at = told.pop("at", None) or "-"
        rest = " ".join(str(value) for value in told.values() if value not in (None, ""))
        yield f"{at}  {news.machine}  {kind}  {rest}"


def _told(news: FeedNews) -> Iterator[dict[str, object]]:
    if news.gap is not None:
        gap = news.gap
        yield {
            "kind": "gap",
            "reason": gap.reason,
            "from_sequence": gap.from_sequence,
            "until_sequence": gap.until_sequence,
        }
    for count in news.counts:
        yield {"kind": "count", "at": print_instant(count.at), "value": count.text}
    for state in news.states:
        yield {
            "kind": state.kind.lower(),
            "at": print_instant(state.at),
            "path": state.path,
            "value": "unknown" if state.text is None else state.text,
        }
    for signal in news.breakages:
        yield {
            "kind": "breakage",
            "at": print_instant(signal.at),
            "path": signal.path,
            "tool_number": signal.tool_number,
            "signal": signal.signal,
        }
    if news.problem is not None:
        yield {"kind": "problem", "state": news.state, "problem": news.problem}
