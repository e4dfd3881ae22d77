"""What of a device is followed: one part count, and the states that tell more about it."""

from __future__ import annotations

from dataclasses import dataclass

from crib.feed.documents import DataItem, Device, Devices
from crib.feed.problems import NothingToFollow

#: Kinds of data items that are asked for.
FOLLOWED = (
    "PART_COUNT",
    "EXECUTION",
    "PROGRAM",
    "TOOL_NUMBER",
    "TOOL_ASSET_ID",
)
#: The best part count first: all parts wear edges, good ones are those left over.
_COUNT_ORDER = ("ALL", "", "COMPLETE", "ATTEMPT", "GOOD")


@dataclass(frozen=True, slots=True)
class Followed:
    """The data items of one machine.

    Attributes:
        device: Name of the device.
        count: The one part count that is followed; counts are never added up.
        execution: Execution states by path.
        program: Programs by path.
        tool_number: Tool numbers by path.
        tool_asset: Tool asset ids by path.
        conditions: What may be wrong with it, in the machine's own words.
    """

    device: str
    count: DataItem
    execution: tuple[DataItem, ...]
    program: tuple[DataItem, ...]
    tool_number: tuple[DataItem, ...]
    tool_asset: tuple[DataItem, ...]
    conditions: tuple[DataItem, ...] = ()

    def by_id(self) -> dict[str, DataItem]:
        """The count and the states by their id."""
        groups = (self.execution, self.program, self.tool_number, self.tool_asset)
        items = [self.count, *(item for group in groups for item in group)]
        return {item.item_id: item for item in items}


def choose_items(found: Devices, machine: str, wanted: str | None = None) -> Followed:
    """Find what to follow for a machine.

    Args:
        found: The agent's answer to ``probe``.
        machine: Name of the machine here; chooses among several devices by name or uuid.
        wanted: Id or name of the part count to follow; None for the best one.

    Raises:
        NothingToFollow: No such device or no part count; says what there is.
    """
    device = _device(found, machine)
    return Followed(
        device.name,
        _count(device, wanted),
        _of_kind(device, "EXECUTION"),
        _of_kind(device, "PROGRAM"),
        _of_kind(device, "TOOL_NUMBER"),
        _of_kind(device, "TOOL_ASSET_ID"),
        tuple(item for item in device.items if item.category == "CONDITION"),
    )


def _device(found: Devices, machine: str) -> Device:
    if len(found.devices) == 1:
        return found.devices[0]
    for device in found.devices:
        if machine.lower() in (device.name.lower(), device.uuid.lower()):
            return device
    names = ", ".join(device.name or device.uuid for device in found.devices[:20]) or "none"
    raise NothingToFollow(
        f"The agent has no device called {machine}, but: {names}. Put the device's name at the "
        "end of the machine's feed_url, as in http://agent:5000/DEVICE."
    )


def _of_kind(device: Device, kind: str) -> tuple[DataItem, ...]:
    return tuple(
        item
        for item in device.items
        if item.kind == kind and item.category == "EVENT" and item.representation == "VALUE"
    )


def _count(device: Device, wanted: str | None) -> DataItem:
    counts = _of_kind(device, "PART_COUNT")
    if wanted:
        for item in counts:
            if wanted in (item.item_id, item.name):
                return item
    else:
        for sub_type in _COUNT_ORDER:
            for item in counts:
                if item.sub_type == sub_type:
                    return item
    names = ", ".join(item.name or item.item_id for item in counts) or "none"
    asked = (
        f"no part count '{wanted}'" if wanted else "no part count that goes up by parts made"
    )
    raise NothingToFollow(f"Device {device.name} tells {asked}; its part counts are: {names}.")
