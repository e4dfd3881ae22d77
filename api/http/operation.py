"""One documented call: reads its query and body, opens one transaction, prints its answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from flask import Request, Response, request
from flask_smorest import Blueprint
from marshmallow import Schema

from api.http.etag import body_tag, is_unchanged
from api.http.idempotency import HEADER, KeyedRequest
from api.http.json_body import NotJson, dump_json, read_json
from api.http.length_unit import LENGTH_UNIT, name_inches
from api.http.reckoning import reckon, refuse_lost_numbers
from api.http.site import Site, this_site
from api.schemas.query import PlainQuery, load_body, read_query
from crib.errors import Contradiction, Invalid
from crib.store.engine import Tx

JSON = "application/json"

_KEY_PARAMETER = {
    "in": "header",
    "name": HEADER,
    "required": False,
    "description": "A fresh text per act. The same key with the same request answers the same "
    "again; with another request it is refused (409). Refusals are not kept.",
    "schema": {"type": "string", "pattern": "^[!-~]{1,200}$"},
}
_UNCHANGED_PARAMETER = {
    "in": "header",
    "name": "If-None-Match",
    "required": False,
    "description": "ETag of the answer that you hold; where it still is so: 304.",
    "schema": {"type": "string"},
}
_MATCH_PARAMETER = _UNCHANGED_PARAMETER | {
    "name": "If-Match",
    "description": "ETag of the version that you edit, or *; where it changed meanwhile: 412. "
    "PUT and PATCH answer 428 without it.",
}


def _header(told: str, pattern: str | None = None, *, always: bool = False) -> dict[str, Any]:
    schema = {"type": "string"} | ({"pattern": pattern} if pattern else {})
    return {"description": told, "required": always, "schema": schema}


_ETAG = _header("The version of this answer.", r'^"[!#-~]*"$', always=True)
_LOCATION = _header("Where that lives which was recorded.", "^/")
_LINK = _header("Where the next page is (RFC 8288).", '^<[^>]*>; rel="next"$')


@dataclass(frozen=True, slots=True)
class Call:
    """What a view gets of its request."""

    opened: Tx | None
    site: Site
    present: datetime
    query: dict[str, Any]
    body: Any
    request: Request

    @property
    def tx(self) -> Tx:
        """The transaction of this call.

        Raises:
            RuntimeError: The call was registered without one.
        """
        if self.opened is None:
            raise RuntimeError("this call has no transaction")
        return self.opened

    @property
    def as_of(self) -> datetime:
        """The instant that the answer is for; now if none is given."""
        at = self.query.get("as_of")
        return at if isinstance(at, datetime) else self.present


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer that needs more than its data."""

    data: Any
    status: int | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    tag: str | None = None


View = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class Operation:
    """How one call is documented and run.

    Attributes:
        answer: Shape of the answer; None where the view answers bytes of its own.
        query: Shape of the query.
        body: Shape of the body, None where none is taken.
        status: Status of success.
        problems: Statuses of refusals that this call knows beside the usual ones.
        hot: Read the body in one pass (no look for names given twice).
        media: Content type of an answer without a shape.
        opens: Whether a GET runs in a transaction of its own.
        again: Whether a write answers 200 where it was on record already.
    """

    answer: Schema | None
    query: Schema
    body: Schema | None = None
    status: int = 200
    problems: tuple[int, ...] = ()
    hot: bool = False
    media: str = JSON
    opens: bool = True
    again: bool = False

    def read(self, view: View, path: dict[str, Any]) -> Response:
        """Answer a GET, as a rule from one consistent view of the database."""
        site = this_site()
        query = read_query(request, self.query)
        token = LENGTH_UNIT.set(query["length_unit"])
        try:
            with site.store.read() if self.opens else nullcontext() as tx:
                call = Call(tx, site, site.clock(), query, None, request)
                response = self._print(_answer(view, call, path))
        finally:
            LENGTH_UNIT.reset(token)
        tag = response.get_etag()[0] or body_tag(response.get_data())
        response.set_etag(tag)
        if is_unchanged(request, tag):
            response.status_code = 304
            response.set_data(b"")
        return response

    def compute(self, view: View, path: dict[str, Any]) -> Response:
        """Answer a POST that records nothing: a calculation, a print."""
        site = this_site()
        query = read_query(request, self.query)
        token = LENGTH_UNIT.set(query["length_unit"])
        try:
            body = load_body(self.body, self._json()) if self.body else None
            with site.store.read() if self.opens else nullcontext() as tx:
                call = Call(tx, site, site.clock(), query, body, request)
                return self._print(reckon(lambda: _answer(view, call, path)), reckoned=True)
        finally:
            LENGTH_UNIT.reset(token)

    def write(self, view: View, path: dict[str, Any]) -> Response:
        """Do an act and keep its answer under its key, in one transaction."""
        site = this_site()
        query = read_query(request, self.query)
        raw = self._json() if self.body else self._no_body()
        keyed = KeyedRequest(request, raw)
        token = LENGTH_UNIT.set(query["length_unit"])
        try:
            body = load_body(self.body, raw) if self.body else None
            with site.store.write() as tx:
                earlier = keyed.earlier_answer(tx)
                if earlier is not None:
                    return earlier
                present = site.clock()
                call = Call(tx, site, present, query, body, request)
                response = self._print(_answer(view, call, path))
                keyed.keep(tx, response, present)
        finally:
            LENGTH_UNIT.reset(token)
        return response

    def _json(self) -> Any:
        kind = request.mimetype
        if kind != JSON and not kind.endswith("+json"):
            said = f"'{kind[:80]}'" if kind else "nothing"
            raise NotJson(f"Content-Type says {said}; this call takes {JSON}.")
        return read_json(request.get_data(cache=False), unique_names=not self.hot)

    @staticmethod
    def _no_body() -> None:
        request.get_data(cache=False)

    def _print(self, answer: Any, *, reckoned: bool = False) -> Response:
        if isinstance(answer, Response):
            return answer
        reply = answer if isinstance(answer, Reply) else Reply(answer)
        data = reply.data
        if self.answer is not None:
            data = self.answer.dump(data)
            if reckoned:
                refuse_lost_numbers(self.answer, data)
            if LENGTH_UNIT.get() == "in":
                data = name_inches(data)
        response = Response(
            b"" if reply.status == 204 else dump_json(data),
            reply.status or self.status,
            dict(reply.headers),
            content_type=JSON,
        )
        if reply.tag:
            response.set_etag(reply.tag)
        return response


def _answer(view: View, call: Call, path: dict[str, Any]) -> Any:
    """The answer of a view; a refusal of readable values becomes a contradiction.

    Query and body were as the document has them. What is refused after that breaks a rule
    between fields, or one of the shop as it is: 409, where 422 says "not as documented".

    Raises:
        Contradiction: The view refused values that can be read.
    """
    try:
        return view(call, **path)
    except Invalid as refusal:
        if type(refusal) is not Invalid:
            raise
        raise Contradiction(
            refusal.sentence, facts=refusal.facts, errors=refusal.errors
        ) from refusal


def _parameters(operation: Operation, method: str, *, writes: bool) -> list[Any]:
    found: list[Any] = [{"in": "query", "schema": operation.query}]
    if writes:
        found.append(_KEY_PARAMETER)
    if method == "GET":
        found.append(_UNCHANGED_PARAMETER)
    if method in ("PUT", "PATCH", "DELETE"):
        found.append(_MATCH_PARAMETER)
    return found


def _success(operation: Operation, method: str, *, writes: bool) -> dict[str, Any]:
    found: dict[str, Any] = {"description": "Done" if writes else "The answer"}
    if operation.answer is not None:
        found["content"] = {operation.media: {"schema": operation.answer}}
    elif operation.status != 204:
        found["content"] = {operation.media: {"schema": {"type": "string"}}}
    headers: dict[str, Any] = {}
    if method == "GET":
        headers["ETag"] = _ETAG
        if "limit" in operation.query.fields:
            headers["Link"] = _LINK
    elif writes and operation.status == 201:
        headers["Location"] = _LOCATION
    return found | ({"headers": headers} if headers else {})


def _documentation(
    operation: Operation, method: str, *, writes: bool, summary: str
) -> dict[str, Any]:
    responses: dict[str, Any] = {
        str(operation.status): _success(operation, method, writes=writes)
    }
    if operation.again:
        responses["200"] = _success(operation, "", writes=False)
    usual = {409, 422, 500}
    if operation.opens or method == "GET":
        usual |= {404, 503}
    if operation.body:
        usual |= {400, 413, 415}
    if writes:
        usual.add(507)
    if method == "GET":
        responses["304"] = {
            "description": "What you hold is still so.",
            "headers": {"ETag": _ETAG},
        }
    for status in sorted(usual | set(operation.problems)):
        responses[str(status)] = f"Problem{status}"
    found: dict[str, Any] = {
        "summary": summary,
        "parameters": _parameters(operation, method, writes=writes),
        "responses": responses,
    }
    if operation.body:
        found["requestBody"] = {
            "required": True,
            "content": {JSON: {"schema": operation.body}},
        }
    return found


def _register(
    blueprint: Blueprint,
    method: str,
    rule: str,
    operation: Operation,
    run: Callable[[Operation, View, dict[str, Any]], Response],
) -> Callable[[View], View]:
    def decorate(view: View) -> View:
        def endpoint(**path: Any) -> Response:
            return run(operation, view, path)

        endpoint.__name__ = view.__name__
        endpoint.__doc__ = view.__doc__
        summary = (view.__doc__ or view.__name__).strip().splitlines()[0].rstrip(".")
        writes = run is Operation.write
        documented = blueprint.doc(
            operationId=view.__name__,
            **_documentation(operation, method, writes=writes, summary=summary),
        )(endpoint)
        blueprint.add_url_rule(rule, view.__name__, documented, methods=[method])
        return view

    return decorate


def reads(
    blueprint: Blueprint,
    rule: str,
    answer: Schema | None,
    *,
    query: Schema | None = None,
    problems: tuple[int, ...] = (),
    media: str = JSON,
    opens: bool = True,
) -> Callable[[View], View]:
    """Register a GET: ``view(call, **path)``, in a transaction where it ``opens`` one."""
    operation = Operation(
        answer, query or PlainQuery(), problems=problems, media=media, opens=opens
    )
    return _register(blueprint, "GET", rule, operation, Operation.read)


def writes(
    blueprint: Blueprint,
    rule: str,
    answer: Schema | None,
    *,
    method: str = "POST",
    body: Schema | None = None,
    query: Schema | None = None,
    status: int = 201,
    problems: tuple[int, ...] = (),
    hot: bool = False,
    again: bool = False,
) -> Callable[[View], View]:
    """Register a write: ``view(call, **path)`` inside a write transaction."""
    operation = Operation(
        answer, query or PlainQuery(), body, status, problems, hot=hot, again=again
    )
    return _register(blueprint, method, rule, operation, Operation.write)


def computes(
    blueprint: Blueprint,
    rule: str,
    answer: Schema,
    *,
    method: str = "POST",
    body: Schema | None = None,
    problems: tuple[int, ...] = (),
) -> Callable[[View], View]:
    """Register a calculation: ``view(call, **path)`` without a database."""
    operation = Operation(answer, PlainQuery(), body, problems=problems, opens=False)
    return _register(blueprint, method, rule, operation, Operation.compute)


def computes_in_store(
    blueprint: Blueprint, rule: str, *, body: Schema, media: str
) -> Callable[[View], View]:
    """Register a POST that reads the database and records nothing; the view answers bytes."""
    operation = Operation(None, PlainQuery(), body, media=media)
    return _register(blueprint, "POST", rule, operation, Operation.compute)
