"""Versions of a resource: If-Match compares strongly, If-None-Match weakly.

Source: RFC 9110, 8.8.3.2 (comparison), 13.1.1 (If-Match), 13.1.2 (If-None-Match).
"""

from __future__ import annotations

import pytest
from flask import Request
from werkzeug.test import EnvironBuilder

from api.http.etag import PreconditionNeeded, is_unchanged, refuse_stale, version_tag
from api.http.length_unit import LENGTH_UNIT
from crib.errors import ChangedMeanwhile

ROW = {"id": 7, "version": 3}


def asked(**headers: str) -> Request:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return Request(EnvironBuilder(headers=named).get_environ())


@pytest.mark.parametrize("given", ["*", '"7.3"', '"7.3.in"', '"7.2", "7.3"'])
def test_an_edit_of_the_present_version_goes_on_in_either_unit(given):
    refuse_stale(asked(If_Match=given), ROW)


@pytest.mark.parametrize("given", ['"7.2"', '"8.3"', '"7.3.9"', '"7.3.mm"', 'W/"7.3"', ""])
def test_an_edit_of_another_version_is_refused_and_told_the_present_one(given):
    with pytest.raises(ChangedMeanwhile) as refused:
        refuse_stale(asked(If_Match=given), ROW)

    assert refused.value.facts["etag"] == '"7.3"'
    assert str(refused.value) == (
        "It was changed since you read it: read it again and look at the change first."
    )


def test_an_edit_that_names_no_version_is_told_how():
    with pytest.raises(PreconditionNeeded) as refused:
        refuse_stale(asked(), ROW)

    assert str(refused.value) == (
        "Say which version you edit: read it first, then send its ETag in If-Match."
    )


def test_a_tag_holds_what_changes_without_a_new_version_and_the_unit():
    assert version_tag(ROW | {"on_hand": 0}) == "7.3.0"
    unit = LENGTH_UNIT.set("in")
    try:
        assert version_tag(ROW) == "7.3.in"
    finally:
        LENGTH_UNIT.reset(unit)


@pytest.mark.parametrize(
    ("given", "unchanged"),
    [('"7.3"', True), ('W/"7.3"', True), ('"7.2", "7.3"', True), ("*", True), ('"7.2"', False)],
)
def test_a_reader_who_holds_the_version_is_told_nothing_new(given, unchanged):
    assert is_unchanged(asked(If_None_Match=given), "7.3") is unchanged


def test_a_reader_who_names_no_version_gets_the_answer():
    assert not is_unchanged(asked(), "7.3")
