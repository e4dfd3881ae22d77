"""What of a device is followed: one part count, and the states that tell more about it."""

from __future__ import annotations

from dataclasses import dataclass

from crib.feed.documents import DataItem, Device, Devices
from crib.feed.problems import NothingToFollow
from crib.floor.path_counters import NO_PATH_COUNTERS, PathCounters
from crib.sentence import sentence

#: What part counts are called: in the standard, and where agents made up a type of their own.
_COUNTS = ("PART_COUNT", "PARTS_COUNT", "PART_COUNTER", "PARTS_COUNTER", "PARTCOUNT")
#: Representations of a single value; the other one was taken out of the standard in 1.5.
_SINGLE = ("VALUE", "DISCRETE")
#: The best part count first: all parts wear edges, good ones are those left over.
_COUNT_ORDER = ("ALL", "", "COMPLETE", "ATTEMPT", "GOOD")


@dataclass(frozen=True, slots=True)
class Followed:
    """The data items of one machine.

    Attributes:
        device: Name of the device.
        count: The part count that is followed; counts are never added up.
        execution: Execution states by path.
        program: Programs by path.
        tool_number: Tool numbers by path.
        tool_asset: Tool asset ids by path.
        others: Part counts that are not followed.
        conditions: What may be wrong with it, in the machine's own words.
        uuid: What the agent calls the device for good; its name where it has none.
        of_paths: The part counts by path, where the paths have counters of their own; ``count``
            is the first of them then.
    """

    device: str
    count: DataItem
    execution: tuple[DataItem, ...]
    program: tuple[DataItem, ...]
    tool_number: tuple[DataItem, ...]
    tool_asset: tuple[DataItem, ...]
    others: tuple[DataItem, ...] = ()
    conditions: tuple[DataItem, ...] = ()
    uuid: str = ""
    of_paths: tuple[tuple[int, DataItem], ...] = ()

    @property
    def counts(self) -> tuple[DataItem, ...]:
        """The part counts that are followed: one, or one for each path that has its own."""
        return tuple(item for _, item in self.of_paths) or (self.count,)

    def path_of(self, item_id: str) -> int | None:
        """The path that a part count counts; None where it counts for all of them."""
        for path, item in self.of_paths:
            if item.item_id == item_id:
                return path
        return None

    def by_id(self) -> dict[str, DataItem]:
        """The count and the states by their id."""
        groups = (self.execution, self.program, self.tool_number, self.tool_asset)
        items = [*self.counts, *(item for group in groups for item in group)]
        return {item.item_id: item for item in items}


def choose_items(
    found: Devices,
    machine: str,
    wanted: str | None = None,
    counters: PathCounters = NO_PATH_COUNTERS,
) -> Followed:
    """Find what to follow for a machine.

    Args:
        found: The agent's answer to ``probe``.
        machine: Name of the machine here; chooses among several devices by name or uuid.
        wanted: Id or name of the part count to follow; None for the best one.
        counters: The counters of its paths; they are followed instead, where there are any.

    Raises:
        NothingToFollow: No such device or no part count; says what there is.
    """
    device = _device(found, machine)
    of_paths = _of_paths(device, counters)
    counts = [item for _, item in of_paths] or [_count(device, wanted)]
    return Followed(
        device.name or device.uuid or device.device_id,
        counts[0],
        _of_kind(device, "EXECUTION"),
        _of_kind(device, "PROGRAM"),
        _of_kind(device, "TOOL_NUMBER"),
        _of_kind(device, "TOOL_ASSET_ID"),
        tuple(item for item in _counts(device) if item not in counts),
        tuple(item for item in device.items if item.category == "CONDITION"),
        device.uuid or device.name or device.device_id,
        of_paths,
    )


def _of_paths(device: Device, counters: PathCounters) -> tuple[tuple[int, DataItem], ...]:
    unnamed = [path for path, one in counters.items() if one.item is None]
    if unnamed:
        raise NothingToFollow(
            sentence(
                "path_counters names no part count of path {unnamed}: write it like "
                "{unnamed}:ITEM with the id or name of the count at the agent.",
                unnamed=unnamed[0],
            )
        )
    found = tuple((path, _count(device, one.item)) for path, one in counters.items())
    items = [item.item_id for _, item in found]
    for path, item in found:
        if items.count(item.item_id) > 1:
            raise NothingToFollow(
                sentence(
                    "path_counters names the part count {item_id} for path {path} and "
                    "for another path: each path has its own, or count_item counts for "
                    "all of them.",
                    item_id=item.item_id,
                    path=path,
                )
            )
    return found


def _device(found: Devices, machine: str) -> Device:
    if len(found.devices) == 1:
        return found.devices[0]
    for device in found.devices:
        called = (device.name, device.uuid, device.device_id)
        if machine.lower() in (name.lower() for name in called):
            return device
    names = ", ".join(device.name or device.uuid for device in found.devices[:20]) or "none"
    raise NothingToFollow(
        sentence(
            "The agent has no device called {machine}. It has: {names}. Put the device's name "
            "at the end of the machine's feed_url, as in http://agent:5000/DEVICE.",
            machine=machine,
            names=names,
        )
    )


def _of_kind(device: Device, *kinds: str) -> tuple[DataItem, ...]:
    return tuple(
        item
        for item in device.items
        if item.kind in kinds
        and item.category != "CONDITION"
        and item.representation in _SINGLE
    )


def _counts(device: Device) -> tuple[DataItem, ...]:
    return _of_kind(device, _COUNTS[0]) or _of_kind(device, *_COUNTS)


def _count(device: Device, wanted: str | None) -> DataItem:
    counts = _counts(device)
    if wanted:
        # a named item is taken as it is, of any type
        for item in (*counts, *_of_kind(device, *(one.kind for one in device.items))):
            if wanted in (item.item_id, item.name, item.native_name):
                return item
    else:
        for sub_type in _COUNT_ORDER:
            for item in counts:
                if item.sub_type == sub_type:
                    return item
    names = ", ".join(item.name or item.item_id for item in counts) or "none"
    asked = (
        sentence("no part count '{wanted}'", wanted=wanted)
        if wanted
        else sentence("no part count that goes up by parts made")
    )
    raise NothingToFollow(
        sentence(
            "Device {name} reports {asked}; its part counts are: {names}.",
            name=device.name,
            asked=asked,
            names=names,
        )
    )
