"""Lines of a gauge: read by the shop's pattern, or refused with the word that is wrong."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import Invalid
from crib.metrology.gauge_line import compile_pattern, example_line, read_line
from crib.metrology.preset import MEASURES, Reading
from crib.units import TenthsUm, mm_from_tenths_um


def lengths(**tenths_um: int) -> Reading:
    return Reading(**{f"{name}_tenths_um": TenthsUm(one) for name, one in tenths_um.items()})


@pytest.mark.parametrize(
    ("pattern", "line", "reading"),
    [
        ("LF {lf} WF {wf}", "LF 80.001 WF 16.0103", lengths(lf=800_010, wf=160_103)),
        ("lf {lf}  wf {wf}", "\tLf 80,001\tWf\t-16,0103 ", lengths(lf=800_010, wf=-160_103)),
        ("LF {lf}", "lf +000000000000080.0010", lengths(lf=800_010)),
        ("* {re} * {hf}", "R 0.8 height -.5", lengths(re=8_000, hf=-5_000)),
        ("{wf};{lf};", "16.0103;80;", lengths(lf=800_000, wf=160_103)),
        ("#1 X{wf}mm Z{lf}mm", "#1 x16.mm z-0mm", lengths(wf=160_000, lf=0)),
        ("LF {lf} in", "LF 0.48605 IN", lengths(lf=123_457)),
        ("LF={lf}in WF={wf}in", "LF=1in WF=-1in", lengths(lf=254_000, wf=-254_000)),
    ],
)
def test_a_line_is_read_as_its_pattern_says(pattern, line, reading):
    assert read_line(compile_pattern(pattern), line) == reading


@pytest.mark.parametrize(
    "pattern",
    [
        "LF {lf} WF {wf}",
        "W={wf} L={lf} *",
        "* {re} * {hf}",
        "{wf};{lf};",
        "#1 X{wf}mm Z{lf}mm",
        "LF={lf}in WF={wf}in HF={hf}in",
    ],
)
def test_an_example_is_read_by_its_pattern_as_one_tool(pattern):
    tool = lengths(lf=800_010, wf=160_100, hf=120_000, re=4_000)

    read = read_line(compile_pattern(pattern), example_line(pattern))

    for name in ("lf", "wf", "hf", "re"):
        found = getattr(read, f"{name}_tenths_um")
        assert (found is not None) == (f"{{{name}}}" in pattern)
        # inches of an example end at 0.0001 in
        assert found is None or abs(found - getattr(tool, f"{name}_tenths_um")) < 13
    assert read_line(None, example_line(None)) == lengths(lf=800_010, wf=160_100)


@pytest.mark.parametrize(
    ("line", "reading"),
    [
        ("LF 80.001 WF 16.0103", lengths(lf=800_010, wf=160_103)),
        ("re 0,8 wf 16 LF 80", lengths(re=8_000, wf=160_000, lf=800_000)),
    ],
)
def test_without_a_pattern_measures_come_in_any_order(line, reading):
    assert read_line(None, line) == reading


@pytest.mark.parametrize(
    ("pattern", "sentence"),
    [
        ("LF", "names no measure: write at least one of {lf}, {wf}, {hf}, {re}"),
        ("", "names no measure"),
        ("LF {lf} {dc}", "{dc}, which is no measure: use {lf}, {wf}, {hf}, {re}"),
        ("{lf} {}", "{}, which is no measure"),
        ("{lf} {LF}", "{lf} twice"),
        ("{lf}{wf}", "The numbers in '{lf}{wf}' run together"),
        ("{lf},{wf}", "The numbers in"),
        ("{lf} {wf", "brace that stands alone in '{wf'"),
        ("{lf} mm {wf} in", "both mm and in"),
    ],
)
def test_a_pattern_that_cannot_be_read_by_says_why(pattern, sentence):
    with pytest.raises(Invalid) as refused:
        compile_pattern(pattern)

    assert sentence in refused.value.sentence


@pytest.mark.parametrize(
    ("line", "word", "expected", "found"),
    [
        ("LF 80.001 WX 16.0103", 3, "'WF'", "WX"),
        ("LF 80.001 WF", 4, "a number for WF", ""),
        ("LF 80.001 WF 16.0103 ok", 5, "the end of the line", "ok"),
        ("LF 8o.001 WF 16", 2, "a number for LF", "8o.001"),
        ("LF 1.2.3 WF 16", 2, "a number for LF", "1.2.3"),
        ("LF 80.00105 WF 16", 2, "a number for LF", "80.00105"),
        ("LF 900000000 WF 16", 2, "a number for LF", "900000000"),
        ("LF ٨٠ WF 16", 2, "a number for LF", "٨٠"),
        ("", 1, "a word", ""),
    ],
)
def test_a_line_that_is_not_so_says_which_word_and_what_belongs_there(
    line, word, expected, found
):
    with pytest.raises(Invalid) as refused:
        read_line(compile_pattern("LF {lf} WF {wf}"), line)

    assert refused.value.facts == {"word": word, "expected": expected, "found": found}
    assert refused.value.errors[0]["field"] == "line"


def test_a_reading_finer_than_a_tenth_of_a_micrometre_is_refused_not_rounded():
    with pytest.raises(Invalid, match=r"LF: .*finer than 0\.1 micrometre"):
        read_line(compile_pattern("{lf}"), "80.00105")


@pytest.mark.parametrize("line", ["LF 80 LF 80", "XX 80", "LF", "LF 80 WF", "LF x", "80"])
def test_without_a_pattern_what_is_no_measure_is_refused(line):
    with pytest.raises(Invalid, match="belongs there"):
        read_line(None, line)


LITERALS = st.text("abcXYZ=:;#%", min_size=1, max_size=6).filter(
    lambda word: word.strip(":;=").lower() not in ("in", "mm")
)
LENGTHS = st.integers(-1_000_000_000, 1_000_000_000)


@given(
    values=st.dictionaries(st.sampled_from(MEASURES), LENGTHS, min_size=1),
    literals=st.lists(LITERALS, min_size=4, max_size=4),
    gaps=st.lists(st.text(" \t", min_size=1, max_size=3), min_size=8, max_size=8),
    comma=st.booleans(),
    zeros=st.integers(0, 12),
)
def test_a_reading_printed_by_a_pattern_is_read_back(values, literals, gaps, comma, zeros):
    pattern, line = "", ""
    for place, (name, value) in enumerate(values.items()):
        number = mm_from_tenths_um(value)
        sign = "-" if number.startswith("-") else ""
        number = sign + "0" * zeros + number.removeprefix("-")
        if comma:
            number = number.replace(".", ",")
        before, after = gaps[2 * place], gaps[2 * place + 1]
        pattern += f" {literals[place]} {{{name.lower()}}}"
        line += f"{before}{literals[place].swapcase()}{after}{number}"

    reading = read_line(compile_pattern(pattern), line)

    assert {name: reading.value(name) for name in reading.carried()} == values


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("XX 80", "'LF' or 'WF' or 'HF' or 'RE'"),
        ("LF 80 XX 1", "'WF' or 'HF' or 'RE'"),
        ("LF 80 WF 8 HF 2 RE 1 XX 1", "the end of the line"),
    ],
)
def test_without_a_pattern_it_says_which_measures_are_left(line, expected):
    with pytest.raises(Invalid) as refused:
        read_line(None, line)

    assert refused.value.facts["expected"] == expected
