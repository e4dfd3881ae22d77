"""The tool that a text names: by its label, or by the holder that it is built on."""

from __future__ import annotations

from dataclasses import dataclass

from crib.codes import looks_like_code, parse_code, strip_address
from crib.errors import BadCode, NotKnown
from crib.sentence import sentence
from crib.store.assemblies import AssemblyRow, assembly_of_holder, assembly_row
from crib.store.engine import Tx
from crib.store.resolve import resolve


@dataclass(frozen=True, slots=True)
class NamedAssembly:
    """An assembly as a text named it.

    Attributes:
        row: The assembly as it is now.
        superseded_code: The code that was read, where it is that of an earlier label.
        by_label: Whether a label of the assembly was read, not its holder's mark.
    """

    row: AssemblyRow
    superseded_code: str | None
    by_label: bool


def named_assembly(tx: Tx, text: str, *, field: str = "assembly") -> NamedAssembly:
    """The assembly that a label's code, or a holder's code or mark, names.

    Args:
        tx: An open transaction.
        text: Code or address in any case, or the mark of a holder that is built.
        field: Field of the request, for the error.

    Raises:
        BadCode: A code that is mistyped.
        NotKnown: Nothing here carries it, or the holder is not built.
    """
    if _is_label(text):
        found = resolve(tx, text, "A", field=field)
        row = assembly_row(tx, found.id)
        return NamedAssembly(row, found.scanned if found.superseded else None, True)
    try:
        holder = resolve(tx, text, "H", field=field)
    except NotKnown as problem:
        raise NotKnown(
            sentence(
                "'{text}' names no tool assembly here: scan its label or its holder.",
                text=text.strip()[:60],
            ),
            facts={"text": text.strip()[:60]},
            errors=[{"field": field, "detail": sentence("is not a tool assembly here")}],
        ) from problem
    built = assembly_of_holder(tx, holder.id)
    if built is None:
        raise NotKnown(
            sentence("Holder {mark} is not built: build a tool on it first.", mark=holder.mark),
            facts={"holder": holder.code},
            errors=[{"field": field, "detail": sentence("the holder is not built")}],
        )
    return NamedAssembly(built, None, False)


def _is_label(text: str) -> bool:
    bare = strip_address(text)
    if not looks_like_code(bare):
        return False
    try:
        return parse_code(bare).kind == "A"
    except BadCode:
        # a holder's own mark may look like a code; a mistyped label should say so
        return bare[:1].upper() == "A"
