"""What a scanned or typed text names: a code, an address, or the shop's own mark."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row

from crib.codes import KINDS, looks_like_code, parse_code, strip_address
from crib.errors import BadCode, NotKnown
from crib.sentence import begun, sentence
from crib.store.engine import Tx
from crib.store.engines.chosen import WORDS
from crib.store.field_types import wrong_type


@dataclass(frozen=True, slots=True)
class Resolved:
    """One thing that a text names.

    Attributes:
        kind: Kind letter (A H S L G P).
        code: Its code now; of an assembly the code of its current label.
        id: Its row; of an assembly the fact that built it.
        mark: The shop's own mark (a station's as MACHINE/STATION); None for assemblies.
        scanned: The code that was scanned, None where it was the mark.
        superseded: Whether the scanned label is an earlier one of the assembly.
        retired: Whether the record was retired.
    """

    kind: str
    code: str | None
    id: int
    mark: str | None
    scanned: str | None = None
    superseded: bool = False
    retired: bool = False


_STATIONS = (
    "SELECT s.code, s.id, m.machine || '/' || s.station AS mark, s.retired_at"
    " FROM stations AS s JOIN machines AS m ON m.id = s.machine_id"
)
# kind letter -> rows (code, id, mark, retired_at), then the SQL of code and of mark
_SOURCES = {
    "H": ("SELECT code, id, holder AS mark, retired_at FROM holders", "code", "holder"),
    "L": ("SELECT code, id, lot AS mark, retired_at FROM lots", "code", "lot"),
    "G": ("SELECT code, id, gauge AS mark, retired_at FROM gauges", "code", "gauge"),
    "P": ("SELECT code, id, badge AS mark, retired_at FROM people", "code", "badge"),
    "S": (_STATIONS, "s.code", "m.machine || '/' || s.station"),
}
_BY_CODE = {kind: f"{rows} WHERE {code} = ?" for kind, (rows, code, _) in _SOURCES.items()}
_BY_MARK = {kind: f"{rows} WHERE {mark} = ?" for kind, (rows, _, mark) in _SOURCES.items()}
# a station's mark is taken apart, so that the unique index on (machine, station) answers
_BY_MARK["S"] = f"{_STATIONS} WHERE m.machine = ? AND s.station = ?"
_BY_ANY_CASE = {
    kind: f"{rows} WHERE {WORDS.in_any_case(mark)} LIMIT 2"
    for kind, (rows, _, mark) in _SOURCES.items()
}
_ASSEMBLY = (
    "SELECT scanned.assembly_id, scanned.superseded_at, present.code"
    " FROM label_codes AS scanned LEFT JOIN label_codes AS present"
    " ON present.assembly_id = scanned.assembly_id AND present.superseded_at IS NULL"
    " WHERE scanned.code = ?"
)


def resolve(tx: Tx, text: str, kind: str | None = None, *, field: str = "code") -> Resolved:
    """What a text names.

    A code with a right check character is looked up; then the shop's own marks are; what
    looks like a code by then was mistyped.

    Args:
        tx: An open transaction.
        text: A code or address in any case, or a mark (a station's as MACHINE/STATION).
        kind: Kind letter that it must be, None for any.
        field: Field of the request that holds the text, for the error.

    Raises:
        BadCode: It has a code's shape, but not its check character: mistyped.
        NotKnown: Nothing here carries it, or it is of another kind.
    """
    bare = strip_address(text)
    mistyped: BadCode | None = None
    scanned = None
    if looks_like_code(bare):
        try:
            code = parse_code(bare)
        except BadCode as problem:
            mistyped = problem
        else:
            found = _by_code(tx, code.kind, code.text)
            if found is not None and kind in (None, found.kind):
                return found
            scanned = found
    found = _by_mark(tx, bare, kind)
    if found is not None:
        return found
    if scanned is not None:
        raise _wrong_kind(scanned, kind, field)
    if mistyped is not None:
        raise BadCode(
            mistyped.sentence,
            facts=mistyped.facts,
            errors=[{"field": field, "detail": sentence("its check character does not match")}],
        )
    wanted = (
        sentence("nothing here")
        if kind is None
        else sentence("no {kinds} here", kinds=KINDS[kind])
    )
    raise NotKnown(
        sentence(
            "'{bare}' names {wanted}: check it, or add it first.", bare=bare[:60], wanted=wanted
        ),
        facts={"text": bare[:60]},
        errors=[{"field": field, "detail": sentence("names {wanted}", wanted=wanted)}],
    )


def resolve_holder(tx: Tx, text: str, *, field: str = "holder") -> Resolved:
    """The holder of a code or mark that is not retired; see ``resolve``."""
    return _living(resolve(tx, text, "H", field=field), field)


def resolve_station(tx: Tx, text: str, *, field: str = "station") -> Resolved:
    """The station of a code or MACHINE/STATION that is not retired; see ``resolve``."""
    return _living(resolve(tx, text, "S", field=field), field)


def resolve_lot(tx: Tx, text: str, *, field: str = "lot") -> Resolved:
    """The lot of a code or mark that is not retired; see ``resolve``."""
    return _living(resolve(tx, text, "L", field=field), field)


def resolve_gauge(tx: Tx, text: str, *, field: str = "gauge") -> Resolved:
    """The gauge of a code or mark that is not retired; see ``resolve``."""
    return _living(resolve(tx, text, "G", field=field), field)


def resolve_person(tx: Tx, text: str, *, field: str = "by") -> Resolved:
    """The person of a code or badge that is not retired; see ``resolve``."""
    return _living(resolve(tx, text, "P", field=field), field)


def machine_id_by_name(tx: Tx, name: str, *, field: str = "machine") -> int:
    """Id of a machine by its name.

    Raises:
        NotKnown: There is none, or it was retired.
    """
    row = _machine(tx, name.strip())
    if row is None or row.retired_at is not None:
        detail = (
            sentence("was retired") if row is not None else sentence("is not a machine here")
        )
        raise NotKnown(
            sentence(
                "'{name}' {detail}: check the name in machines.csv.",
                name=name[:60],
                detail=detail,
            ),
            facts={"machine": name[:60]},
            errors=[{"field": field, "detail": detail}],
        )
    return int(row.id)


def _machine(tx: Tx, name: str) -> Row[Any] | None:
    query = "SELECT id, retired_at FROM machines WHERE"
    row = tx.exec_driver_sql(f"{query} machine = ?", (name,)).first()
    if row is not None:
        return row
    in_any_case = f"{query} {WORDS.in_any_case('machine')} LIMIT 2"
    rows = tx.exec_driver_sql(in_any_case, (name,)).fetchall()
    return rows[0] if len(rows) == 1 else None


def _by_code(tx: Tx, kind: str, code: str) -> Resolved | None:
    if kind == "A":
        row = tx.exec_driver_sql(_ASSEMBLY, (code,)).first()
        if row is None:
            return None
        if not isinstance(row.assembly_id, int):
            raise wrong_type("assembly_id", row.assembly_id)
        superseded = row.superseded_at is not None
        return Resolved("A", row.code or code, row.assembly_id, None, code, superseded)
    row = tx.exec_driver_sql(_BY_CODE[kind], (code,)).first()
    if row is None:
        return None
    return _from_row(kind, row, code)


def _by_mark(tx: Tx, mark: str, kind: str | None) -> Resolved | None:
    """The one thing of that mark; as written first, then in any case if that is one only."""
    kinds = [letter for letter in _BY_MARK if kind in (None, letter)]
    for letter in kinds:
        if letter != "S":
            row = tx.exec_driver_sql(_BY_MARK[letter], (mark,)).first()
            if row is not None:
                return _from_row(letter, row)
            continue
        # either name may hold a slash itself
        for place in (at for at, character in enumerate(mark) if character == "/"):
            names = (mark[:place], mark[place + 1 :])
            row = tx.exec_driver_sql(_BY_MARK["S"], names).first()
            if row is not None:
                return _from_row("S", row)
    for letter in kinds:
        rows = tx.exec_driver_sql(_BY_ANY_CASE[letter], (mark,)).fetchall()
        if len(rows) == 1:
            return _from_row(letter, rows[0])
    return None


def _from_row(kind: str, row: Row[Any], scanned: str | None = None) -> Resolved:
    retired = row.retired_at is not None
    return Resolved(kind, row.code, row.id, row.mark, scanned, retired=retired)


def _wrong_kind(found: Resolved, kind: str | None, field: str) -> NotKnown:
    what, wanted = KINDS[found.kind], KINDS[kind or found.kind]
    return NotKnown(
        sentence(
            "{code} is a {what}, not a {wanted}: scan the {wanted}.",
            code=found.code,
            what=what,
            wanted=wanted,
        ),
        facts={"code": found.code, "kind": found.kind},
        errors=[
            {
                "field": field,
                "detail": sentence("names a {what}, not a {wanted}", what=what, wanted=wanted),
            }
        ],
    )


def _living(found: Resolved, field: str) -> Resolved:
    if found.retired:
        name = begun(KINDS[found.kind])
        raise NotKnown(
            sentence("{name} {mark} was retired.", name=name, mark=found.mark or found.code),
            facts={"code": found.code, "mark": found.mark},
            errors=[{"field": field, "detail": sentence("was retired")}],
        )
    return found
