"""Which message of a broker means what: the map of topics and fields that a shop edits.

A TOML file of rules; a topic's segment in braces names the machine or is free:

    [[rule]]
    topic = "shop/{machine}/parts"
    count = "parts.total"          # fields of a JSON message, by dots
    at = "time"
    [rule.machines]
    lathe-1 = "M1"                 # what the topic calls a machine -> its name here

Without ``count`` and other fields a message is the plain number itself. What watches tools says
with ``breakage`` that one broke:

    [[rule]]
    topic = "shop/{machine}/watch"
    breakage = "event"
    tool = "tool"                  # the number of the tool that it speaks of
    at = "time"
    [rule.breakages]
    BROKEN = "spindle load"        # what that field says of a broken tool -> the signal's name
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from crib.acts.book_feed import BreakageNews, CountNews, StateNews
from crib.clock import CLOCK_TOLERANCE
from crib.errors import Invalid
from crib.feed.documents import has_offset, read_instant
from crib.floor.path_counters import path_number
from crib.sentence import sentence, together

#: Field of a rule -> kind of state that it tells.
_STATES = {
    "state": "EXECUTION",
    "program": "PROGRAM",
    "tool": "TOOL_NUMBER",
    "tool_asset": "TOOL_ASSET_ID",
}
_FIELDS = ("count", "at", "machine", "path", "breakage", *_STATES)
_TABLES = ("machines", "states", "breakages")
_KNOWN = {"topic", *_TABLES, *_FIELDS}
#: Largest map [bytes], and most dots of a name in it.
_LARGEST_MAP, _MOST_DOTS = 1_000_000, 64
#: Numbers above this are instants in milliseconds since 1970, others in seconds.
_MILLISECONDS = 10**11


class Garbled(Exception):  # noqa: N818 - said of a message, not a fault of the service
    """A message that means nothing; why, in a sentence, and whose it is where known."""

    def __init__(self, why: str, machine: str | None = None) -> None:
        super().__init__(why)
        self.machine = machine


@dataclass(frozen=True, slots=True)
class Message:
    """What a message says.

    Attributes:
        machine: Name of the machine here.
        counts: Its part count, if it tells one.
        states: States that it tells.
        breakages: That a tool broke, if it says so.
        dated: Whether it tells when; else it was dated by its arrival.
        local: Whether its time has no offset, so that it was taken as the site's.
    """

    machine: str
    counts: tuple[CountNews, ...]
    states: tuple[StateNews, ...]
    breakages: tuple[BreakageNews, ...]
    dated: bool
    local: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """What messages of one kind of topic mean."""

    topic: str
    pattern: re.Pattern[str]
    fields: Mapping[str, str]
    machines: Mapping[str, str]
    states: Mapping[str, str]
    breakages: Mapping[str, str]

    @property
    def watches(self) -> bool:
        """Whether its messages may tell a breakage."""
        return bool(self.breakages)

    @property
    def subscription(self) -> str:
        """The topic filter that the broker is asked for."""
        return re.sub(r"\{\w+\}", "+", self.topic)


class TopicMap:
    """The rules of a shop, in their order: the first that fits a topic reads its message.

    Args:
        rules: The rules.
        zone: Zone of times without an offset.
    """

    def __init__(self, rules: list[Rule], zone: tzinfo = UTC) -> None:
        self.rules, self.zone = rules, zone

    def read(self, topic: str, payload: bytes, heard_at: datetime) -> Message:
        """What a message says.

        Raises:
            Garbled: No rule fits its topic, or it does not hold what its rule names.
        """
        for rule in self.rules:
            found = rule.pattern.fullmatch(topic)
            if found is not None:
                return _read(rule, found.groupdict(), payload, heard_at, self.zone)
        raise Garbled(sentence("no rule fits topic {topic}", topic=topic[:100]))


def _map_text(path: Path) -> str:
    if path.stat().st_size > _LARGEST_MAP:
        raise Invalid(
            sentence(
                "The feed map {path} is larger than {largest_map} bytes.",
                path=path,
                largest_map=_LARGEST_MAP,
            )
        )
    text = path.read_text(encoding="utf-8")
    for number, line in enumerate(text.splitlines(), 1):
        # each dot of a key is a table in a table
        parts = [] if line.lstrip().startswith("#") else line.split("=")
        if any(part.count(".") > _MOST_DOTS for part in parts):
            raise Invalid(
                sentence(
                    "The feed map {path}, line {number}: a name nests too deeply.",
                    path=path,
                    number=number,
                )
            )
    return text


def load_map(path: Path, zone: tzinfo = UTC) -> TopicMap:
    """The map in a file.

    Raises:
        Invalid: It cannot be read, or a rule is not valid; says which one.
    """
    try:
        given = tomllib.loads(_map_text(path))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise Invalid(
            sentence(
                "The feed map {path} cannot be read: {problem}.", path=path, problem=problem
            )
        ) from problem
    except RecursionError as problem:
        raise Invalid(
            sentence("The feed map {path} nests lists or tables too deeply.", path=path)
        ) from problem
    rules = given.get("rule")
    if not isinstance(rules, list) or not rules:
        raise Invalid(sentence("The feed map {path} holds no [[rule]].", path=path))
    return TopicMap([_rule(path, number, one) for number, one in enumerate(rules, 1)], zone)


def _rule(path: Path, number: int, given: Mapping[str, Any]) -> Rule:
    def refuse(why: str) -> Invalid:
        return Invalid(
            sentence(
                "The feed map {path}, rule {number}: {why}.", path=path, number=number, why=why
            )
        )

    unknown = sorted(set(given) - _KNOWN)
    if unknown:
        raise refuse(
            sentence(
                "'{unknown}' is not a field; there are {known}",
                unknown=unknown[0],
                known=together(", ", sorted(_KNOWN)),
            )
        )
    topic = given.get("topic")
    if not isinstance(topic, str) or not topic:
        raise refuse(sentence("it needs a topic, such as 'shop/{machine}/parts'"))
    fields = {name: given[name] for name in _FIELDS if name in given}
    wrong = [name for name, value in fields.items() if not isinstance(value, str) or not value]
    if wrong:
        raise refuse(
            sentence("'{wrong}' names a field by a text, such as 'parts.total'", wrong=wrong[0])
        )
    tables = {name: given.get(name, {}) for name in _TABLES}
    for name, table in tables.items():
        if not isinstance(table, dict) or any(not isinstance(v, str) for v in table.values()):
            raise refuse(sentence("'{name}' is a table of texts", name=name))
    pattern = _pattern(topic)
    if pattern is None:
        raise refuse(
            sentence("a segment of a topic is plain, {name} or +, with # only at the end")
        )
    if "machine" not in fields and "machine" not in pattern.groupindex:
        raise refuse(
            sentence("name the machine by a segment {machine} of the topic or a field")
        )
    rule = Rule(topic, pattern, fields, *(tables[name] for name in _TABLES))
    why = _half_a_breakage(rule)
    if why is not None:
        raise refuse(why)
    return rule


def _half_a_breakage(rule: Rule) -> str | None:
    """What a rule lacks to tell a breakage; None where it has all, or tells none."""
    fields = rule.fields
    which = "tool" in fields or "tool" in rule.pattern.groupindex
    if "breakage" in fields and not (which and "at" in fields):
        # one without its time could be an old one, of the tool that sat there before
        return sentence(
            "a breakage needs the fields 'tool' and 'at': which tool broke, and when"
        )
    if ("breakage" in fields) != bool(rule.breakages):
        return sentence(
            "'breakage' names the field, [rule.breakages] what it says when one broke"
        )
    return None


def _pattern(topic: str) -> re.Pattern[str] | None:
    parts = []
    segments = topic.split("/")
    for place, segment in enumerate(segments):
        named = re.fullmatch(r"\{([a-z_]\w*)\}", segment, re.ASCII)
        if named:
            parts.append(f"(?P<{named[1]}>[^/]+)")
        elif segment == "+":
            parts.append("[^/]+")
        elif segment == "#" and place == len(segments) - 1:
            parts.append(".*")
        elif re.search(r"[+#{}]", segment):
            return None
        else:
            parts.append(re.escape(segment))
    try:
        return re.compile("/".join(parts), re.DOTALL)
    except re.error:  # one name twice
        return None


def _read(
    rule: Rule, named: dict[str, str], payload: bytes, heard_at: datetime, zone: tzinfo
) -> Message:
    called = named.get("machine")
    known = None if called is None else rule.machines.get(called, called)
    try:
        text = payload.decode("utf-8-sig").strip()
    except UnicodeDecodeError:
        raise Garbled(sentence("it is no UTF-8 text"), known) from None
    body: object = None
    if rule.fields:
        try:
            body = json.loads(text)
        except (ValueError, RecursionError):
            raise Garbled(sentence("it is no JSON"), known) from None
    if "machine" in rule.fields:
        called = _text(_at(body, rule.fields["machine"]))
        if called is None:
            raise Garbled(
                sentence("field {machine} names no machine", machine=rule.fields["machine"]),
                known,
            )
        known = rule.machines.get(called, called)
    machine = str(known)
    try:
        at, local = _instant(rule, body, machine, heard_at, zone)
    except Garbled:
        broken = _breakages(rule, body, named, machine, heard_at)
        if not broken:
            raise
        unclear = [
            replace(one, why=sentence("The message does not say when.")) for one in broken
        ]
        return Message(machine, (), (), tuple(unclear), dated=False)
    when = at or heard_at
    counts = _counts(rule, body, text, when, named.get("path", ""))
    states = _states(rule, body, named.get("path", ""), when)
    breakages = _breakages(rule, body, named, machine, when)
    if not counts and not states and breakages is None:
        raise Garbled(sentence("it holds none of the fields that its rule names"), machine)
    return Message(machine, counts, states, breakages or (), at is not None, local)


def _counts(
    rule: Rule, body: object, text: str, when: datetime, of_topic: str
) -> tuple[CountNews, ...]:
    path = path_number(_path(rule, body, of_topic))
    if "count" in rule.fields:
        said = _text(_at(body, rule.fields["count"]))
        if said is None:
            return ()
        return (CountNews(when, said[:100], source=_source(rule), path=path),)
    if any(name in rule.fields for name in ("breakage", *_STATES)):
        return ()
    return (CountNews(when, text[:100], source=_source(rule), path=path),)


def _source(rule: Rule) -> str:
    return f"{rule.topic} {rule.fields.get('count', '')}".strip()


def _states(rule: Rule, body: object, path: str, when: datetime) -> tuple[StateNews, ...]:
    path = _path(rule, body, path)
    found = []
    for name, kind in _STATES.items():
        if name not in rule.fields:
            continue
        said = _text(_at(body, rule.fields[name]))
        if said is not None:
            word = rule.states.get(said, said) if name == "state" else said
            found.append(StateNews(when, kind, path, word[:200]))
    return tuple(found)


def _breakages(
    rule: Rule, body: object, named: Mapping[str, str], machine: str, when: datetime
) -> tuple[BreakageNews, ...] | None:
    """The breakage that a message tells; None where it does not speak of any."""
    said = _at(body, rule.fields["breakage"]) if "breakage" in rule.fields else None
    word = str(said).lower() if isinstance(said, bool) else _text(said)
    if word is None:
        return None
    signal = rule.breakages.get(word)
    if signal is None:
        return ()
    tool = _at(body, rule.fields["tool"]) if "tool" in rule.fields else named["tool"]
    number = _text(tool)
    path = _path(rule, body, named.get("path", ""))
    if number is None or not re.fullmatch("[0-9]{1,9}", number):
        return (
            BreakageNews(
                when, path, None, signal, sentence("The message names no tool number.")
            ),
        )
    return (BreakageNews(when, path, int(number), signal),)


def _path(rule: Rule, body: object, of_topic: str) -> str:
    said = _text(_at(body, rule.fields["path"])) if "path" in rule.fields else None
    return said or of_topic


def _at(body: object, dotted: str) -> object:
    """A field by its dots; a number picks from a list; None where there is none."""
    for name in dotted.split("."):
        if isinstance(body, dict):
            body = body.get(name)
        elif isinstance(body, list) and name.isdecimal() and int(name) < len(body):
            body = body[int(name)]
        else:
            return None
    return body


def _text(value: object) -> str | None:
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        return None
    return str(value)


def _instant(
    rule: Rule, body: object, machine: str, heard_at: datetime, zone: tzinfo
) -> tuple[datetime | None, bool]:
    """When a message says that it was so, and whether it leaves the offset out."""
    if "at" not in rule.fields:
        return None, False
    said, local = _at(body, rule.fields["at"]), False
    found = None
    if isinstance(said, str):
        found, local = read_instant(said), not has_offset(said)
    elif isinstance(said, (int, float)) and not isinstance(said, bool):
        try:
            found = datetime.fromtimestamp(said / 1000 if said > _MILLISECONDS else said, UTC)
        except (ValueError, OverflowError, OSError):
            found = None
    if found is None:
        raise Garbled(sentence("field {at} holds no instant", at=rule.fields["at"]), machine)
    return (_of_site(found, heard_at, zone), True) if local else (found, False)


def _of_site(wall: datetime, heard_at: datetime, zone: tzinfo) -> datetime:
    """A time on the clocks of the site; of two the later one that is not still to come."""
    both = [wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (1, 0)]
    return next((at for at in both if at <= heard_at + CLOCK_TOLERANCE), both[-1])
