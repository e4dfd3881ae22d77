"""Whether holder, cutting item and tool spec fit each other, before the build."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from crib.designation.pockets import pocket_misfits
from crib.designation.reading import holder_or_none, insert_or_none
from crib.sentence import OR, sentence, together, word


class Misfit(NamedTuple):
    """One reason why pieces do not make a tool: the field it concerns, and the words."""

    field: str
    detail: str


@dataclass(frozen=True, slots=True)
class HolderFacts:
    """A holder as far as building with it is concerned.

    Attributes:
        mark: The shop's own mark.
        holder_type: Name of its type.
        accepts: Starts of designations that its pocket takes, ``|`` between them. Where the
            shop says so, that decides; where it does not, the designations do.
        condition: As the shop wrote it.
        out_of_service: Whether that condition keeps it off the bench.
        retired: Whether the record was retired.
        designation: Of its type; by ISO 5608 or ISO 6261 it says what the pocket takes.
    """

    mark: str
    holder_type: str
    accepts: str | None = None
    condition: str | None = None
    out_of_service: bool = False
    retired: bool = False
    designation: str = ""


@dataclass(frozen=True, slots=True)
class ItemFacts:
    """A lot's cutting item as far as building with it is concerned."""

    lot: str
    cutting_item: str
    designation: str
    lot_retired: bool = False
    item_retired: bool = False


@dataclass(frozen=True, slots=True)
class SpecFacts:
    """A tool spec as far as building to it is concerned."""

    tool_spec: str
    holder_type: str
    cutting_items: Sequence[str]
    retired: bool = False


def accepts(starts: str | None, designation: str) -> bool:
    """Whether a pocket that takes designations with these starts takes this one.

    Blanks and case do not tell designations apart; no starts at all take anything.

    Examples:
        >>> accepts("DCGT 11|DCMT11", "dcgt11T302"), accepts("VCGT", "DCGT11T302")
        (True, False)
        >>> accepts("", "DCGT11T302")
        True
    """
    wanted = _starts(starts)
    return not wanted or _plain(designation).startswith(tuple(wanted))


def _starts(starts: str | None) -> list[str]:
    return [plain for start in (starts or "").split("|") if (plain := _plain(start))]


def _plain(text: str) -> str:
    return "".join(text.split()).casefold()


def build_misfits(spec: SpecFacts, holder: HolderFacts, item: ItemFacts) -> tuple[Misfit, ...]:
    """Every reason why these three do not make a tool; empty where they do."""
    found = [*_spec_problems(spec), *_holder_problems(spec, holder), *_lot_problems(item)]
    if item.cutting_item not in spec.cutting_items:
        found.append(
            Misfit(
                "lot",
                sentence(
                    "lot {lot} holds {cutting_item}; {tool_spec} takes {cutting_items}",
                    lot=item.lot,
                    cutting_item=item.cutting_item,
                    tool_spec=spec.tool_spec,
                    cutting_items=together(OR, spec.cutting_items),
                ),
            )
        )
    found += _pocket_problems(holder, item)
    return tuple(found)


def _pocket_problems(holder: HolderFacts, item: ItemFacts) -> list[Misfit]:
    goes_not = sentence(
        "{designation} does not go into holder {mark}",
        designation=item.designation,
        mark=holder.mark,
    )
    if _starts(holder.accepts):
        if accepts(holder.accepts, item.designation):
            return []
        takes = together(OR, (start.strip() for start in (holder.accepts or "").split("|")))
        return [
            Misfit(
                "lot",
                sentence("{goes_not}, which takes {takes}", goes_not=goes_not, takes=takes),
            )
        ]
    pocket, insert = holder_or_none(holder.designation), insert_or_none(item.designation)
    if pocket is None or insert is None:  # in the shop's own words: nothing is known of it
        return []
    return [
        Misfit("lot", goes_not + f" ({pocket}): " + reason)
        for reason in pocket_misfits(pocket, insert)
    ]


def _spec_problems(spec: SpecFacts) -> list[Misfit]:
    if spec.retired:
        return [
            Misfit(
                "tool_spec",
                sentence(
                    "{tool_spec} is retired; take its successor", tool_spec=spec.tool_spec
                ),
            )
        ]
    return []


def _holder_problems(spec: SpecFacts, holder: HolderFacts) -> list[Misfit]:
    found = []
    if holder.holder_type != spec.holder_type:
        found.append(
            Misfit(
                "holder",
                sentence(
                    "holder {mark} is a {holder_type}; {tool_spec} needs a {holder_type2}",
                    mark=holder.mark,
                    holder_type=holder.holder_type,
                    tool_spec=spec.tool_spec,
                    holder_type2=spec.holder_type,
                ),
            )
        )
    if holder.out_of_service:
        found.append(
            Misfit(
                "holder",
                sentence(
                    "holder {mark} is out of service ({condition}); take another",
                    mark=holder.mark,
                    condition=word(str(holder.condition)),
                ),
            )
        )
    if holder.retired:
        found.append(
            Misfit(
                "holder", sentence("holder {mark} is retired; take another", mark=holder.mark)
            )
        )
    return found


def _lot_problems(item: ItemFacts) -> list[Misfit]:
    found = []
    if item.lot_retired:
        found.append(
            Misfit("lot", sentence("lot {lot} is retired; take another", lot=item.lot))
        )
    if item.item_retired:
        found.append(
            Misfit(
                "lot",
                sentence(
                    "{cutting_item} is retired; take its successor",
                    cutting_item=item.cutting_item,
                ),
            )
        )
    return found
