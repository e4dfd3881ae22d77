"""Idempotency keys: a repeated request gets its first answer, another one is refused."""

from __future__ import annotations

import hashlib
import re
from datetime import datetime
from typing import Any

import orjson
from flask import Request, Response

from crib.errors import Invalid, KeyReused
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.idempotency import KeptAnswer, keep_answer, kept_answer

HEADER = "Idempotency-Key"

_KEY = re.compile(r"[\x21-\x7e]{1,200}", re.ASCII)
_KEPT_HEADERS = ("Content-Type", "Location", "ETag")


class KeyedRequest:
    """A write that may come twice.

    Args:
        request: The request.
        body: Its parsed body; equal values are the same body, whatever the white space.

    Raises:
        Invalid: The key is no printable text of 1 to 200 characters.
    """

    def __init__(self, request: Request, body: Any) -> None:
        self.key = request.headers.get(HEADER)
        if self.key is None:
            return
        if not _KEY.fullmatch(self.key):
            raise Invalid(
                sentence(
                    "{header} must be 1 to 200 printable characters without spaces.",
                    header=HEADER,
                ),
                errors=[{"field": HEADER, "detail": sentence("is not a valid key")}],
            )
        query = request.query_string.decode("latin-1")
        self.route = f"{request.method} {request.path}" + (f"?{query}" if query else "")
        canonical = orjson.dumps(body, option=orjson.OPT_SORT_KEYS)
        self.body_hash = hashlib.blake2b(canonical, digest_size=20).hexdigest()

    def earlier_answer(self, tx: Tx) -> Response | None:
        """The answer that this request got before, or None.

        Raises:
            KeyReused: The key came with another request.
        """
        kept = kept_answer(tx, self.key) if self.key is not None else None
        if kept is None:
            return None
        if (kept.route, kept.body_hash) != (self.route, self.body_hash):
            raise KeyReused(
                sentence(
                    "The {header} '{key}' was used before for another request: use a new "
                    "key for each request.",
                    header=HEADER,
                    key=self.key,
                ),
                facts={"key": self.key},
            )
        return Response(kept.body, kept.status, kept.headers)

    def keep(self, tx: Tx, response: Response, present: datetime) -> None:
        """Keep the answer in the same transaction as the act."""
        if self.key is None:
            return
        headers = {
            name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers
        }
        answer = KeptAnswer(
            self.route, self.body_hash, response.status_code, response.get_data(), headers
        )
        keep_answer(tx, self.key, answer, present)
