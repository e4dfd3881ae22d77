"""Reads a page as a person does: its words, its forms with what they carry."""

from __future__ import annotations

import re

from bs4 import BeautifulSoup, Tag
from flask.testing import FlaskClient


def parsed(text: str | bytes) -> BeautifulSoup:
    """A page or a part of one as a browser shows it.

    What stands in a ``<template>`` is not part of a page until a script copies it. Some
    versions of the library find it all the same and others do not, so it is taken out here.
    """
    page = BeautifulSoup(text, "html.parser")
    for template in page.find_all("template"):
        template.clear()
    return page


def read(client: FlaskClient, address: str, status: int = 200) -> BeautifulSoup:
    """The page at an address, redirects followed."""
    answer = client.get(address, follow_redirects=True)
    assert answer.status_code == status, answer.get_data(as_text=True)
    return parsed(answer.get_data())


def words(found: Tag | None) -> str:
    """What a part of a page says, white space made one."""
    assert found is not None
    return re.sub(r" ([,.:])", r"\1", " ".join(found.get_text(" ").split()))


def form_data(form: Tag | None) -> dict[str, list[str]]:
    """What a form sends if nobody touches it."""
    assert form is not None
    data: dict[str, list[str]] = {}
    for one in form.select("input[name], textarea[name]"):
        data.setdefault(str(one["name"]), []).append(str(one.get("value", "")))
    for one in form.select("select[name]"):
        chosen = one.select_one("option[selected]") or one.select_one("option")
        if chosen is not None:
            data[str(one["name"])] = [str(chosen.get("value", chosen.get_text()))]
    return data
