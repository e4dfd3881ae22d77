"""Every record of the catalogue as a resource: listed, read, created, changed, retired."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from flask_smorest import Blueprint
from marshmallow import Schema

from api.http.etag import refuse_stale, version_tag
from api.http.names import one_of
from api.http.operation import Call, Reply, reads, writes
from api.http.paging import one_page
from api.schemas.records import (
    filter_shape,
    input_shape,
    output_shape,
    page_shape,
)
from crib.acts.import_guards import FactGuard
from crib.codes import parse_code
from crib.errors import Invalid, NotKnown
from crib.planning.parts_without_run import end_of_done
from crib.records.catalogue import BY_NAME, CATALOGUE, RUNS
from crib.records.columns import Column, Record
from crib.records.passwords import address_in, kept, shown
from crib.records.rules import Problem, is_time_zone, problems_of
from crib.sentence import sentence, together
from crib.store.engine import Tx
from crib.store.record_rows import OWNED
from crib.store.records import (
    get_record,
    insert_record,
    list_records,
    retire_record,
    sound_records,
    update_record,
)
from crib.store.resolve import resolve

COLLECTIONS = tuple(record for record in CATALOGUE if not record.owner)


def find_record(tx: Tx, record: Record, text: str) -> dict[str, Any]:
    """A record by the shop's own mark, its code, or its number.

    Args:
        tx: An open transaction.
        record: Which record.
        text: Its key text (a station's as MACHINE/STATION), its code bare or as an address,
            or its id.

    Raises:
        BadCode: It looks like a code, but is mistyped.
        NotKnown: Nothing carries it.
    """
    for key in _keys(record, text):
        try:
            return get_record(tx, record, key)
        except NotKnown:
            continue
    if text.isascii() and text.isdigit() and len(text) < 18:
        return get_record(tx, record, int(text))
    if record.code_kind:
        return get_record(tx, record, resolve(tx, text, record.code_kind, field="key").id)
    raise NotKnown(
        sentence("There is no {noun} '{text}' here.", noun=record.noun, text=text[:80]),
        facts={"text": text[:80]},
    )


#: More rows than a shop has records of a kind.
_ALL = 1_000_000


def _refuse_unknown(tx: Tx, column: Column, name: str) -> None:
    """Refuse a filter by a record that is not there: it would match nothing, and not say so."""
    other = BY_NAME[column.reference or ""]
    if not list_records(tx, other, filters={other.key[0]: name}, limit=1, include_retired=True):
        raise NotKnown(
            sentence("There is no {noun} '{name}' here.", noun=other.noun, name=name[:80]),
            facts={"text": name[:80]},
            errors=[
                {
                    "field": column.name,
                    "parameter": column.name,
                    "detail": sentence("names nothing here"),
                }
            ],
        )


def _keys(record: Record, text: str) -> list[tuple[str, ...]]:
    if len(record.key) == 1:
        return [(text,)]
    if record.name != "stations":
        return []
    return [
        (text[:place], text[place + 1 :])
        for place, character in enumerate(text)
        if character == "/"
    ]


def refuse_contradictions(tx: Tx, record: Record, values: dict[str, Any]) -> None:
    """Refuse values that contradict each other, or facts that rest on the record.

    Raises:
        Invalid: ``errors`` names each column, with what would be right.
    """
    found = [(one.column, one) for one in problems_of(record, values)]
    found += [(one.column, one) for one in FactGuard(tx).problems_of(record, values)]
    if record.name in OWNED:
        name, owned = OWNED[record.name]
        for place, row in enumerate(values.get(name) or ()):
            found += [(f"{name}.{place}.{p.column}", p) for p in problems_of(owned, row)]
        zone = values.get("time_zone")
        if record.name == "calendars" and zone is not None and not is_time_zone(zone):
            told = Problem("time_zone", "is no IANA time zone", "write it like Europe/Berlin")
            found.append(("time_zone", told))
    if found:
        errors = [
            {"field": field, "detail": together("; ", (one.reason, one.right))}
            for field, one in found
        ]
        told_all = together(
            "; ", (together(" ", (error["field"], error["detail"])) for error in errors[:3])
        )
        raise Invalid(
            sentence(
                "This {noun} is not valid: {told_all}.", noun=record.noun, told_all=told_all
            ),
            errors=errors,
        )


def address_of(record: Record, row: dict[str, Any]) -> str:
    """Where a record lives."""
    if record.name == "stations":
        name = f"{row['machine']}/{row['station']}"
    elif len(record.key) == 1:
        name = str(row[record.key[0]])
    else:
        name = str(row["id"])
    return f"/v1/{record.name.replace('_', '-')}/{quote(name, safe='/')}"


def _shown(record: Record, row: dict[str, Any], status: int | None = None) -> Reply:
    headers = {"Location": address_of(record, row)} if status == 201 else {}
    return Reply(shown(record, row), status, headers, version_tag(row))


def records_blueprint(record: Record) -> Blueprint:
    """Resources of one record."""
    name = record.name
    noun = record.noun.replace("-", "_").replace(" ", "_")
    rule = f"/v1/{name.replace('_', '-')}"
    blueprint = Blueprint(
        name.replace("_", "-"), __name__, description=f"Records: {name.replace('_', ' ')}."
    )
    item = output_shape(record)
    page = page_shape(item, rule.removeprefix("/v1/"))
    given = input_shape(record)
    add_readers(blueprint, record, rule, noun, item(), page())
    add_writers(blueprint, record, rule, noun, item(), given)
    return blueprint


def add_readers(
    blueprint: Blueprint, record: Record, rule: str, noun: str, item: Schema, page: Schema
) -> None:
    """List and single."""

    def list_view(call: Call) -> Reply:
        query = call.query
        filters = {
            column.name: query[column.name] for column in record.columns if column.name in query
        }
        for column in record.columns:
            if column.reference and not column.many and query.get(column.name) is not None:
                _refuse_unknown(call.tx, column, query[column.name])
        if "code" in query:
            filters["code"] = parse_code(query["code"]).text
        # compared as it is shown: a filter must not give a password away
        name = address_in(record)
        secret = {name: filters.pop(name)} if filters.get(name) is not None else {}
        most = query["limit"] + 1
        rows, unreadable = sound_records(
            call.tx,
            record,
            filters=filters,
            after_id=query["after"],
            limit=_ALL if secret else most,
            include_retired=query["retired"] == "yes",
        )
        found = [shown(record, row) for row in rows]
        like = [row for row in found if secret.items() <= row.items()]
        return one_page(call, rule.removeprefix("/v1/"), like, unreadable)

    def read_view(call: Call, key: str) -> Reply:
        return _shown(record, find_record(call.tx, record, key))

    _name(list_view, f"list_{record.name}", f"List the {record.name.replace('_', ' ')}")
    _name(read_view, f"read_{noun}", f"Read one {record.noun} by its mark, code or id")
    reads(blueprint, rule, page, query=filter_shape(record)())(list_view)
    reads(blueprint, f"{rule}/{one_of(record.name, 'key')}", item)(read_view)


def add_writers(
    blueprint: Blueprint,
    record: Record,
    rule: str,
    noun: str,
    item: Schema,
    given: type[Schema],
) -> None:
    """Create, replace, change, retire."""

    def create_view(call: Call) -> Reply:
        refuse_contradictions(call.tx, record, call.body)
        number = insert_record(call.tx, record, call.body)
        return _shown(record, get_record(call.tx, record, number), 201)

    def replace_view(call: Call, key: str) -> Reply:
        members = [column.name for column in record.columns]
        if record.name in OWNED:
            members.append(OWNED[record.name][0])
        return edit(call, key, dict.fromkeys(members) | call.body)

    def change_view(call: Call, key: str) -> Reply:
        return edit(call, key, call.body)

    def edit(call: Call, key: str, values: dict[str, Any]) -> Reply:
        row = find_record(call.tx, record, key)
        refuse_stale(call.request, row)
        values = kept(record, row, values)
        ended = end_of_done(row, values, call.present) if record is RUNS else None
        values = values if ended is None else {**values, "end_at": ended}
        # rows that it owns are looked at where they are written: old ones lock nobody out
        old = row if record.name not in OWNED else {**row, OWNED[record.name][0]: None}
        refuse_contradictions(call.tx, record, old | values)
        update_record(call.tx, record, row["id"], values, row["version"])
        return _shown(record, get_record(call.tx, record, row["id"]))

    def retire_view(call: Call, key: str) -> Reply:
        row = find_record(call.tx, record, key)
        if "If-Match" in call.request.headers:
            refuse_stale(call.request, row)
        retire_record(call.tx, record, row["id"], call.present)
        return Reply(None, 204)

    _name(create_view, f"create_{noun}", f"Create a {record.noun}")
    _name(replace_view, f"replace_{noun}", f"Replace a {record.noun} (If-Match needed)")
    _name(change_view, f"change_{noun}", f"Change members of a {record.noun} (If-Match needed)")
    _name(retire_view, f"retire_{noun}", f"Retire a {record.noun}; facts keep naming it")
    single = f"{rule}/{one_of(record.name, 'key')}"
    edits = (412, 428)
    writes(blueprint, rule, item, body=given())(create_view)
    writes(blueprint, single, item, method="PUT", body=given(), status=200, problems=edits)(
        replace_view
    )
    writes(
        blueprint,
        single,
        item,
        method="PATCH",
        body=given(partial=True),
        status=200,
        problems=edits,
    )(change_view)
    writes(blueprint, single, None, method="DELETE", status=204, problems=(412,))(retire_view)


def _name(view: Any, name: str, told: str) -> None:
    view.__name__ = name.replace("-", "_")
    view.__doc__ = told + "."
