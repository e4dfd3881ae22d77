"""A fact that a form of these pages names is taken back."""

from __future__ import annotations

from datetime import datetime

from flask import Response, request

from api.pages.acts import act
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.store.engine import Tx


def take_back_fact(address: str) -> Response:
    """Take the form's ``fact`` back and go to a page of ours.

    Args:
        address: Of that page.

    Raises:
        Refusal: It cannot be taken back; nothing was recorded.
    """
    fact = request.form.get("fact", "")

    def work(tx: Tx, present: datetime, by: str | None) -> str:
        number = int(fact) if fact.isdecimal() else 0
        reverse_fact(tx, present, ReverseFact(number, by=by))
        return address

    return act(work)
