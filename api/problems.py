"""Refusals become problem documents (RFC 9457): one table, one writer, a page per kind."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable
from typing import Any, NamedTuple

from flask import Flask, Response, current_app, request
from werkzeug.exceptions import HTTPException, MethodNotAllowed, RequestEntityTooLarge

from api.http.etag import PreconditionNeeded
from api.http.guard import ForeignHost
from api.http.json_body import HalfJson, NotJson, dump_json
from api.language import preferences, say
from api.language.catalogue import SOURCE
from api.print_queue import NotPrinted
from crib import errors
from crib.errors import Refusal
from crib.sentence import sentence
from crib.store.savepoint import NotAnswered, is_locked

_log = logging.getLogger("crib.api")

PROBLEM_TYPE = "application/problem+json"

#: Where an app keeps what makes a page of a problem.
_AS_PAGE = "crib-problem-as-page"


class Row(NamedTuple):
    """How one kind of refusal is answered: status, title and what to do about it."""

    status: int
    title: str
    advice: str


TABLE: dict[type[Refusal], Row] = {
    Refusal: Row(400, sentence("Refused"), sentence("Read the detail: it gives the reason.")),
    HalfJson: Row(
        400,
        sentence("Incomplete JSON"),
        sentence(
            "The body broke off or is not JSON. Nothing was recorded. Send the whole "
            "body again."
        ),
    ),
    ForeignHost: Row(
        421,
        sentence("Not a name of this service"),
        sentence(
            "Open the service under its own name or address. More names go into "
            "the setting CRIB_HOSTS."
        ),
    ),
    errors.Invalid: Row(
        422,
        sentence("Cannot be read"),
        sentence(
            "Each entry of 'errors' names a field and what it should be. Nothing "
            "was recorded. Correct those fields and send it again."
        ),
    ),
    errors.Contradiction: Row(
        409,
        sentence("Values contradict each other"),
        sentence(
            "Each value is fine alone, but together they break a rule or "
            "contradict the records. Each entry of 'errors' names a field and what "
            "it should be. Nothing was recorded."
        ),
    ),
    errors.BadCode: Row(
        404,
        sentence("Mistyped code"),
        sentence(
            "The check character does not match the rest of the code. Scan the "
            "label again, or compare the typed code with it."
        ),
    ),
    errors.BadDesignation: Row(
        404,
        sentence("Not a designation"),
        sentence(
            "The detail names the position that cannot be read and what is allowed "
            "there. Compare the text with the box."
        ),
    ),
    errors.OutsideModel: Row(
        409,
        sentence("Outside the range of the formula"),
        sentence("The formula holds only in the range given. Check the number and its unit."),
    ),
    errors.NotKnown: Row(
        404,
        sentence("Not known here"),
        sentence("Nothing here has this name or code. Check the spelling, or import it first."),
    ),
    errors.NotAllowed: Row(
        403,
        sentence("Not allowed"),
        sentence("Your role may not do this. Ask a colleague who may."),
    ),
    errors.Conflict: Row(
        409,
        sentence("Not possible now"),
        sentence("The records do not allow it at present. Check them, then decide."),
    ),
    errors.StationOccupied: Row(
        409,
        sentence("Station occupied"),
        sentence(
            "Record the removal of the tool in that station first. If another tool "
            "is really there, take back the wrong record."
        ),
    ),
    errors.AlreadyMounted: Row(
        409,
        sentence("Already mounted"),
        sentence("This tool sits in a station already. Record its removal there first."),
    ),
    errors.HolderInUse: Row(
        409,
        sentence("Holder in use"),
        sentence(
            "The holder is built into another tool. Take that one apart first, or use "
            "another holder of the same type."
        ),
    ),
    NotPrinted: Row(
        409,
        sentence("Not printed"),
        sentence(
            "The print system refused the label and said why. Nothing was "
            "recorded. Check the printer, or open the label and print it from "
            "there."
        ),
    ),
    errors.EdgeUsed: Row(
        409,
        sentence("Edge used before"),
        sentence("Turn the insert to an edge that has not cut, or take a new one."),
    ),
    errors.NoneLeft: Row(
        409,
        sentence("None left"),
        sentence(
            "The lot holds fewer than that. Take another lot, or record what was received."
        ),
    ),
    errors.DoesNotFit: Row(
        409,
        sentence("Does not fit"),
        sentence(
            "Each entry of 'errors' names one mismatch. Do not mount it: a wrong tool "
            "in a station can wreck holder, bushing and spindle. Fetch the right one."
        ),
    ),
    errors.NotMounted: Row(
        409,
        sentence("Nothing mounted"),
        sentence(
            "No tool is on record there. Record the mount first, with the time "
            "when it happened."
        ),
    ),
    errors.KeyReused: Row(
        409,
        sentence("Key used for something else"),
        sentence(
            "That Idempotency-Key was used before for another request. Use a new "
            "key for each request."
        ),
    ),
    errors.InUse: Row(
        409,
        sentence("Still in use"),
        sentence("Other records still use it. Retire it once nothing open uses it."),
    ),
    errors.Damaged: Row(
        409,
        sentence("Damaged record"),
        sentence(
            "A stored value cannot be read, or a record that this one names is not there. Run "
            "crib check: it names what is damaged. Then restore a backup."
        ),
    ),
    errors.ChangedMeanwhile: Row(
        412,
        sentence("Changed meanwhile"),
        sentence(
            "Somebody changed it since you read it. Read it again, look at the change, "
            "and send yours with the new ETag in If-Match."
        ),
    ),
    NotJson: Row(
        415,
        sentence("Not JSON"),
        sentence("Send the body as JSON, with Content-Type: application/json."),
    ),
    PreconditionNeeded: Row(
        428,
        sentence("Say which version you edit"),
        sentence(
            "Read the record first and send its ETag in If-Match. That way no "
            "other change is lost."
        ),
    ),
    errors.StoreFull: Row(
        507,
        sentence("No room left"),
        sentence("The disk is full. Nothing was recorded. Free some space and send it again."),
    ),
    errors.StoreBusy: Row(
        503,
        sentence("Busy"),
        sentence("The database was busy for too long. Nothing was recorded. Send it again."),
    ),
}

#: Problems that are no refusal of ours: the web's own.
WEB: dict[str, Row] = {
    "no-such-address": Row(
        404,
        sentence("No such address"),
        sentence("Check the address. /v1/docs lists those of the API."),
    ),
    "method-not-allowed": Row(
        405,
        sentence("Method not allowed"),
        sentence("The Allow header lists the methods of this address."),
    ),
    "too-large": Row(
        413,
        sentence("Too large"),
        sentence("Split the body: 50,000 count readings fit into one call."),
    ),
    "body-too-slow": Row(
        408,
        sentence("The body took too long"),
        sentence(
            "It did not arrive in time. Nothing was recorded. Check the network, "
            "then send it again."
        ),
    ),
    "too-busy": Row(
        503,
        sentence("Too busy"),
        sentence(
            "The service has too many requests, or it is stopping. Nothing was "
            "recorded. Send it again."
        ),
    ),
    "bad-request": Row(
        400,
        sentence("Bad request"),
        sentence("The request could not be read. Check it, then send it again."),
    ),
    "fault": Row(
        500,
        sentence("Our fault"),
        sentence(
            "Something broke in the service, not in what you sent. Nothing was "
            "recorded. Give the id to the person who looks after crib: the log has "
            "it too."
        ),
    ),
}

# Words of the database itself: for the log, not for a reader on the shop floor.
_PRIVATE_FACTS = frozenset({"constraint"})
_RESERVED = frozenset({"type", "title", "status", "detail", "instance", "errors"})


def row_of(kind: type[Refusal]) -> Row:
    """The row of a refusal's class, or of the nearest one above it."""
    for above in kind.__mro__:
        if above in TABLE:
            return TABLE[above]
    raise KeyError(kind)


def rows_by_kind() -> dict[str, Row]:
    """Every problem that this service can answer with, by the last part of its type."""
    return {kind.kind: row for kind, row in TABLE.items()} | WEB


def field_errors(found: list[dict[str, str]]) -> list[dict[str, str]]:
    """Field problems with a JSON pointer (RFC 6901) to where they lie."""
    shaped = []
    for error in found:
        shown = dict(error)
        name = shown.get("field", "")
        if name and "pointer" not in shown and "parameter" not in shown:
            escaped = name.replace("~", "~0").replace("/", "~1").replace(".", "/")
            shown["pointer"] = f"#/{escaped}"
        shaped.append(shown)
    return shaped


def problem_body(refusal: Refusal, instance: str) -> dict[str, Any]:
    """The problem document of a refusal."""
    row = row_of(type(refusal))
    body: dict[str, Any] = {
        "type": f"/problems/{refusal.kind}",
        "title": row.title,
        "status": row.status,
        "detail": refusal.sentence,
        "instance": instance,
    }
    for name, fact in refusal.facts.items():
        if name not in _PRIVATE_FACTS and name not in _RESERVED:
            body[name] = fact
    if refusal.errors:
        body["errors"] = field_errors(refusal.errors)
    return body


def _as_document(body: dict[str, Any], headers: dict[str, str]) -> Response:
    """A problem document as a response."""
    whole = dump_json(_said(body))
    return Response(whole, int(body["status"]), headers, content_type=PROBLEM_TYPE)


def _said(told: dict[str, Any]) -> dict[str, Any]:
    """A problem, or a field's, with its sentence in the reader's language where it is another.

    The scripts of the machine pages show it to the operator.
    """
    if preferences().language == SOURCE:
        return told
    fields = [_said(error) for error in told.get("errors", ())]
    return told | {"said": say(told["detail"])} | ({"errors": fields} if fields else {})


def answer_reader(body: dict[str, Any], headers: dict[str, str] | None = None) -> Response:
    """A problem as its reader takes it: a page for a browser, else a problem document.

    One that passes says when to ask again.
    """
    again = {"Retry-After": "1"} if int(body["status"]) == 503 else {}
    carried = again | (headers or {})
    if not _asked_for_a_page():
        response = _as_document(body, carried)
    else:
        try:
            response = current_app.extensions[_AS_PAGE](body, carried)
        except Exception:  # a page that fails must not hide what went wrong first
            _log.exception("the page of a problem: %s %s", request.method, request.path)
            response = _as_document(body, carried)
    response.vary.add("Accept")
    return response


def _asked_for_a_page() -> bool:
    """Whether a page comes before JSON in what is accepted; ``*/*`` means JSON."""
    known = ("application/json", PROBLEM_TYPE, "text/html")
    return request.accept_mimetypes.best_match(known) == "text/html"


def web_problem(kind: str, detail: str, instance: str, **more: object) -> dict[str, Any]:
    """The problem document of an error that is the web's own."""
    row = WEB[kind]
    return {
        "type": f"/problems/{kind}",
        "title": row.title,
        "status": row.status,
        "detail": detail,
        "instance": instance,
        **more,
    }


def _web_problem(kind: str, detail: str, **more: object) -> dict[str, Any]:
    return web_problem(kind, detail, request.path, **more)


def no_such_address(detail: str) -> Response:
    """The answer where nothing is at the address that was asked for."""
    return answer_reader(_web_problem("no-such-address", detail))


def _on_refusal(refusal: Refusal) -> Response:
    if "constraint" in refusal.facts:
        _log.info("%s %s: %s", request.method, request.path, refusal.facts["constraint"])
    if isinstance(refusal, errors.Damaged):
        _log.error("%s %s: damaged", request.method, request.path, exc_info=refusal)
    if isinstance(refusal, errors.StoreBusy):
        _log.warning("%s %s: %s", request.method, request.path, refusal.sentence)
    return answer_reader(problem_body(refusal, request.path))


def _on_http(problem: HTTPException) -> Response:
    if isinstance(problem, MethodNotAllowed):
        allowed = ", ".join(sorted(problem.valid_methods or ()))
        body = _web_problem(
            "method-not-allowed",
            sentence(
                "{method} does not work here; {allowed} does.",
                method=request.method,
                allowed=allowed,
            ),
        )
        return answer_reader(body, {"Allow": allowed})
    if isinstance(problem, RequestEntityTooLarge):
        return answer_reader(
            _web_problem("too-large", sentence("The body is larger than this service accepts."))
        )
    if problem.code == 404:
        return no_such_address(sentence("There is nothing at {path}.", path=request.path))
    if problem.code is None or problem.code < 400:  # a redirect is an answer, not a problem
        return Response(problem.get_response().get_data(), problem.code or 302)
    if problem.code >= 500:
        return _on_fault(problem)
    body = _web_problem(
        "bad-request", problem.description or sentence("The request cannot be read.")
    )
    return answer_reader(body | {"status": problem.code})


def _on_busy(problem: NotAnswered) -> Response:
    if not is_locked(problem):
        return _on_fault(problem)
    return _on_refusal(errors.StoreBusy(TABLE[errors.StoreBusy].advice))


def _on_fault(problem: Exception) -> Response:
    fault = uuid.uuid4().hex[:12]
    _log.error("fault %s: %s %s", fault, request.method, request.path, exc_info=problem)
    return answer_reader(
        _web_problem(
            "fault",
            sentence("{advice} Its id is {fault}.", advice=WEB["fault"].advice, fault=fault),
            id=fault,
        )
    )


def register(app: Flask, as_page: Callable[..., Response]) -> None:
    """Answer every refusal, web error and fault of an app.

    Args:
        app: The app.
        as_page: Makes the page of a problem document, for who asks for pages; takes the
            document and headers.
    """
    app.extensions[_AS_PAGE] = as_page
    app.register_error_handler(Refusal, _on_refusal)
    app.register_error_handler(HTTPException, _on_http)
    app.register_error_handler(NotAnswered, _on_busy)
    app.register_error_handler(Exception, _on_fault)
