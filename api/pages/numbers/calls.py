"""Runs a REST calculation for a page: the same shapes, the same code, the same refusals."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import request
from marshmallow import Schema

from api.http.operation import Call
from api.http.site import this_site
from api.pages.numbers.shown import Body
from api.schemas.query import load_body


def by_call(
    view: Callable[[Call], Any], body_shape: Schema, answer_shape: Schema
) -> Callable[[Body], Body]:
    """A calculation as the REST call does it."""

    def work(body: Body) -> Body:
        site = this_site()
        loaded = load_body(body_shape, body)
        answer = view(Call(None, site, site.clock(), {}, loaded, request))
        printed: Body = answer_shape.dump(answer)
        return printed

    return work
