"""Text that reads as it looks, and cells that no spreadsheet runs."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import Invalid
from crib.records.columns import Column
from crib.records.plain_text import as_meant, inert, unseen
from crib.records.values import read_cell

#: Bidi_Control of the Unicode standard (PropList.txt), and its separators of lines.
BIDI = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
LINES = "\n\r\x0b\x0c\x1c\x1d\x1e\x85\u2028\u2029"
UNSEEN = BIDI + LINES + "\x00\t\x1b\x7f\x9f\u200b\u2060\ufeff\u00ad"


@pytest.mark.parametrize("character", UNSEEN)
def test_what_cannot_be_seen_is_refused_in_a_cell(character: str):
    with pytest.raises(Invalid, match=r"control character|invisible character U\+"):
        read_cell(Column("name"), f"T{character}1")


@pytest.mark.parametrize(
    "text",
    ["Bär Ø 12 µm", "刀具", "نصل", "nbsp\u00a0here", "می\u200cخواهم", "🔧", "=1+1"],
)
def test_what_can_be_seen_is_taken(text: str):
    assert read_cell(Column("name"), text) == text


@given(st.text())
def test_exactly_the_unseen_categories_are_refused(text: str):
    categories = {unicodedata.category(one) for one in text if one not in "\u200c\u200d"}

    assert (unseen(text) is not None) == bool(categories & {"Cc", "Cf", "Cs", "Zl", "Zp"})


# what starts a formula: OWASP, "CSV Injection"
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"])
def test_a_cell_that_would_be_run_is_written_inert(start: str):
    assert inert(start + "cmd|' /C calc'!A0") == "'" + start + "cmd|' /C calc'!A0"
    assert inert("'" + start) == "''" + start
    assert inert("M1" + start) == "M1" + start


@given(st.text(alphabet="'=+-@\t\r＝ab1 ", max_size=8) | st.text())
def test_every_cell_is_read_back_as_it_was_and_none_is_run(text: str):
    written = inert(text)

    assert as_meant(written) == text
    assert not written.startswith(tuple("=+-@\t\r＝＋－＠"))
