"""MTConnect documents as any agent writes them, read leniently: devices, streams, errors.

Names are matched without their namespace, since it differs by schema version (1.3 to 2.x).
Source: ANSI/MTC1.4-2018 and later, parts 1 to 3 (devices, streams, errors), open standard.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import TreeBuilder

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError, XMLParser

from crib.feed.problems import BadDocument
from crib.sentence import sentence

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

#: Deepest that elements may lie in each other; those of agents reach about twenty.
_DEEPEST = 200

UNAVAILABLE = "UNAVAILABLE"

_INSTANT = re.compile(
    r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d:\d\d)(?:[.,](\d{1,12}))?\s*(Z|z|[+-]\d\d:?\d\d)?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Header:
    """What an agent says of itself; None where it does not.

    Attributes:
        instance_id: Changes when the agent restarts; earlier sequences are void then.
        next_sequence: Where the next ``sample`` continues.
        first_sequence: Oldest observation that it still holds.
        last_sequence: Newest one.
        buffer_size: How many observations it holds.
        model_changed: When its devices changed last, as it says it.
        created_at: When it wrote the answer, by its own clock.
    """

    instance_id: int | None
    next_sequence: int | None
    first_sequence: int | None
    last_sequence: int | None
    model_changed: str | None
    created_at: datetime | None = None
    buffer_size: int | None = None


@dataclass(frozen=True, slots=True)
class DataItem:
    """Something that a device tells.

    Attributes:
        item_id: Its id, unique within the agent.
        name: Its name, where it has one.
        kind: Its type in capitals without a prefix, such as PART_COUNT.
        sub_type: ALL, GOOD, ...; empty where it has none.
        category: EVENT, SAMPLE or CONDITION.
        path: Name or id of the Path that it belongs to; empty outside of any.
        representation: VALUE, or DATA_SET, TABLE, ... which hold more than one value.
        written: Its type as the agent writes it.
        native_name: What the machine itself calls it; empty where nothing.
    """

    item_id: str
    name: str
    kind: str
    sub_type: str
    category: str
    path: str
    representation: str
    written: str = ""
    native_name: str = ""


@dataclass(frozen=True, slots=True)
class Device:
    """A machine as the agent describes it."""

    name: str
    uuid: str
    items: tuple[DataItem, ...]
    device_id: str = ""


@dataclass(frozen=True, slots=True)
class Devices:
    """Answer to ``probe``."""

    header: Header
    devices: tuple[Device, ...]


@dataclass(frozen=True, slots=True)
class Observation:
    """One value at an instant.

    Attributes:
        item_id: Of the data item.
        sequence: Its place in the agent's order.
        at: When it came to be, by the agent's clock.
        text: The value; None for UNAVAILABLE, which is unknown and never zero.
        tag: Name of the element, such as PartCount, or a condition's level, such as Fault.
        native_code: What the machine itself calls a condition; empty where nothing.
        local: Whether its time has no offset; ``at`` is then that time as if it were UTC.
    """

    item_id: str
    sequence: int
    at: datetime
    text: str | None
    tag: str
    native_code: str = ""
    local: bool = False


@dataclass(frozen=True, slots=True)
class Streams:
    """Answer to ``current`` or ``sample``; observations by sequence.

    Attributes:
        skipped: Observations without an id, a sequence or a readable instant.
    """

    header: Header
    observations: tuple[Observation, ...]
    skipped: int


@dataclass(frozen=True, slots=True)
class AgentError:
    """A refusal of the agent: its code, such as OUT_OF_RANGE, and its words."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Errors:
    """Answer to what an agent cannot do."""

    header: Header
    errors: tuple[AgentError, ...]

    def says(self, code: str) -> bool:
        """Whether it is a refusal with this code."""
        return any(error.code == code for error in self.errors)


Document = Devices | Streams | Errors


def read_document(raw: bytes) -> Document:
    """Read what an agent answered.

    Raises:
        BadDocument: It is not whole XML, declares entities, or is none of the documents.
    """
    try:
        root = _parse(raw)
    except DefusedXmlException as problem:
        _refuse_other(raw)
        raise BadDocument(
            sentence(
                "The agent's answer declares a document type or entities: it was not read."
            )
        ) from problem
    except (ParseError, ValueError, LookupError) as problem:
        _refuse_other(raw)
        raise BadDocument(
            sentence("The agent's answer is not whole XML: {problem}.", problem=problem)
        ) from problem
    name = _local(root)
    header = _header(_child(root, "Header"))
    if name == "MTConnectDevices":
        return Devices(header, tuple(_devices(root)))
    if name == "MTConnectStreams":
        return _streams(root, header)
    if name == "MTConnectError":
        return Errors(header, tuple(_errors(root)))
    raise BadDocument(
        sentence(
            "The agent answered with '{name}', which is none of its documents.", name=name[:60]
        )
    )


class _Bounded(TreeBuilder):
    """Builds a tree, and gives up where it gets too deep."""

    depth = 0

    def start(self, tag: Any, attrs: Any, /) -> Element:
        """An element begins."""
        self.depth += 1
        if self.depth > _DEEPEST:
            raise BadDocument(
                sentence(
                    "The agent's answer nests elements more than {deepest} deep: it was "
                    "not read.",
                    deepest=_DEEPEST,
                )
            )
        return super().start(tag, attrs)

    def end(self, tag: Any, /) -> Element:
        """An element ends."""
        self.depth -= 1
        return super().end(tag)


def _parse(raw: bytes) -> Element:
    parser = XMLParser(target=_Bounded(), forbid_dtd=True)
    parser.feed(raw)
    root: Element = parser.close()
    return root


def _refuse_other(raw: bytes) -> None:
    """Say so where it is plain that no agent answered."""
    begin = raw[:500].lstrip()[:14].lower()
    if begin.startswith((b"{", b"[", b"<html", b"<!doctype html")):
        raise BadDocument(
            sentence(
                "The answer is JSON or a web page, not XML: check that the address is that of "
                "an MTConnect agent."
            )
        )


def read_instant(text: str) -> datetime | None:
    """An instant as agents write it; UTC where it has no offset, None where it is none.

    Fractions finer than a microsecond are cut off.
    """
    found = _INSTANT.fullmatch(text.strip())
    if found is None:
        return None
    day, clock, fraction, offset = found.groups()
    zone = "+00:00" if offset in (None, "Z", "z") else offset
    digits = (fraction or "0")[:6].ljust(6, "0")
    try:
        return datetime.fromisoformat(f"{day}T{clock}.{digits}{zone}").astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def has_offset(text: str) -> bool:
    """Whether an instant says how far it is from UTC."""
    found = _INSTANT.fullmatch(text.strip())
    return found is None or found[4] is not None


def _local(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _child(element: Element, name: str) -> Element | None:
    return next((one for one in element if _local(one) == name), None)


def _whole(text: str | None) -> int | None:
    if text is None or not re.fullmatch(r"\s*\d{1,19}\s*", text, re.ASCII):
        return None
    return int(text)


def _number(text: str | None) -> int | None:
    """A number of an agent that only has to differ where the agent's differs.

    The standard has unsigned numbers of 64 bits; some agents write names.
    """
    if not text or not text.strip():
        return None
    whole = _whole(text)
    return whole if whole is not None and whole < 2**63 else zlib.crc32(text.encode())


def _header(element: Element | None) -> Header:
    if element is None:
        return Header(None, None, None, None, None)
    get = element.get
    created = get("creationTime", "")
    return Header(
        _number(get("instanceId")),
        _whole(get("nextSequence")),
        _whole(get("firstSequence")),
        _whole(get("lastSequence")),
        get("deviceModelChangeTime"),
        read_instant(created) if has_offset(created) else None,
        _whole(get("bufferSize")),
    )


def _devices(root: Element) -> Iterator[Device]:
    devices = _child(root, "Devices")
    for element in () if devices is None else devices:
        # the agent describes itself beside the machines (from version 1.7 on)
        if _local(element) != "Device":
            continue
        yield Device(
            element.get("name", ""),
            element.get("uuid", ""),
            tuple(_items(element, "")),
            element.get("id", ""),
        )


def _items(element: Element, path: str) -> Iterator[DataItem]:
    for one in element:
        name = _local(one)
        if name == "DataItem":
            item = _item(one, path)
            if item is not None:
                yield item
        else:
            inner = one.get("name") or one.get("id") or path if name == "Path" else path
            yield from _items(one, inner)


def _item(element: Element, path: str) -> DataItem | None:
    item_id = element.get("id")
    if not item_id:
        return None
    written = element.get("type", "")
    return DataItem(
        item_id,
        element.get("name", ""),
        _kind(written),
        _kind(element.get("subType", "")),
        element.get("category", "").upper(),
        path,
        element.get("representation", "VALUE").upper(),
        written,
        element.get("nativeName", ""),
    )


def _kind(written: str) -> str:
    """PART_COUNT of x:PART_COUNT and PartCount."""
    bare = written.rpartition(":")[2]
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", bare).upper()


def _streams(root: Element, header: Header) -> Streams:
    found, skipped = [], 0
    for device in _child(root, "Streams") or ():
        for component in device:
            for group in component:  # Samples, Events, Condition
                for element in group:
                    observation = _observation(element)
                    if observation is None:
                        skipped += 1
                    else:
                        found.append(observation)
    found.sort(key=lambda one: one.sequence)
    return Streams(header, tuple(found), skipped)


def _observation(element: Element) -> Observation | None:
    item_id, sequence = element.get("dataItemId"), _whole(element.get("sequence"))
    written = element.get("timestamp", "")
    at = read_instant(written)
    if not item_id or sequence is None or at is None:
        return None
    text: str | None = (element.text or "").strip()
    tag = _local(element)
    if text == UNAVAILABLE or tag == "Unavailable":
        text = None
    code, local = element.get("nativeCode", ""), not has_offset(written)
    return Observation(item_id, sequence, at, text, tag, code, local)


def _errors(root: Element) -> Iterator[AgentError]:
    errors = _child(root, "Errors")
    if errors is None:  # version 1.0 and 1.1 name one only
        errors = [one for one in root if _local(one) == "Error"]  # type: ignore[assignment]
    for element in errors or ():
        message = _child(element, "ErrorMessage")
        text = element.text if message is None else message.text
        yield AgentError(element.get("errorCode", "").upper(), (text or "").strip())
