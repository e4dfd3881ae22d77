"""Prints of labels: once without a word, again with a reason, taken back like other facts."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from crib.acts.print_label import LabelPrinted, PrintLabel, print_label
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.errors import Conflict, Invalid
from crib.views.queries import LABEL_PRINTS, list_facts


def print_once(acts: Any, code: str, minutes: float = 2, **values: Any) -> LabelPrinted:
    command = PrintLabel(code, "roll-62x29", at=acts.at(minutes), **values)
    return print_label(acts.tx, acts.present, command)


def test_the_first_print_needs_no_reason(acts: Any) -> None:
    code = acts.ready()

    done = print_once(acts, code, by="B1")

    assert (done.code, done.ordinal, done.earlier) == (code, 1, ())
    listed = list_facts(acts.tx, LABEL_PRINTS).rows[0]
    assert (listed.printed_code, listed.by, listed.at) == (code, "B1", acts.at(2))


def test_a_reprint_says_how_often_when_last_and_by_whom_it_was_printed(acts: Any) -> None:
    code = acts.ready()
    print_once(acts, code, by="B1")
    print_once(acts, code, 3, by="B2", reason="torn")

    with pytest.raises(Conflict) as refused:
        print_once(acts, code, 4, reason=" ")

    assert "printed 2 times before, last at 2026-01-05T06:03:00Z by Olek Varn" in (
        refused.value.sentence
    )
    assert refused.value.errors[0]["field"] == "reason"
    again = print_once(acts, code, 4, reason="oil")
    assert again.ordinal == 3
    assert [(one.by, one.reason) for one in again.earlier] == [
        ("Ida Quill", None),
        ("Olek Varn", "torn"),
    ]


def test_a_new_preset_gives_a_label_that_was_never_printed(acts: Any) -> None:
    built = acts.build()
    print_once(acts, built.code, 0.5)
    first = acts.preset(built.code, 1)
    assert print_once(acts, first.code, 2).ordinal == 1
    second = acts.preset(first.code, 3)

    assert print_once(acts, second.code, 4).ordinal == 1


def test_a_print_that_was_taken_back_does_not_count(acts: Any) -> None:
    code = acts.ready()
    printed = print_once(acts, code)

    reverse_fact(acts.tx, acts.present, ReverseFact(printed.fact_id))

    assert print_once(acts, code, 3).ordinal == 1


def test_a_tool_that_is_over_gets_no_label(acts: Any) -> None:
    code = acts.ready()
    acts.mount(code)
    acts.remove(60)

    with pytest.raises(Conflict, match="would mislead"):
        print_once(acts, code, 61)


@pytest.mark.parametrize(
    ("values", "kind"),
    [({"reason": "x" * 501}, Invalid), ({"at": datetime(2026, 1, 1)}, Invalid)],  # noqa: DTZ001
)
def test_what_cannot_be_is_refused(acts: Any, values: dict[str, Any], kind: type) -> None:
    code = acts.ready()

    with pytest.raises(kind):
        print_label(acts.tx, acts.present, PrintLabel(code, "roll-62x29", **values))
    assert acts.one("SELECT count(*) FROM label_prints") == 0
