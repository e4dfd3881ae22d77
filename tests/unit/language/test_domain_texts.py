"""The extractor finds what the domain says, as whole sentences."""

import pytest

from api.language.domain_texts import texts_of


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ('raise Conflict(f"{a} sits in {b}.")', ["{0} sits in {1}."]),
        ('x = "one part " + f"of {n}"', ["one part of {0}"]),
        (
            "x = f\"{n} swap{'' if n == 1 else 's'} before it\"",
            ["{0} swap before it", "{0} swaps before it"],
        ),
        ('x = f"Done {m:.0f} min after: {w}."', ["Done {0} min after: {1}."]),
        (
            "x = f\"{over} Stop{f', or {y}' if y else ''} it.\"",
            ["{0} Stop, or {1} it.", "{0} Stop it."],
        ),
        ('x += "; the next one comes too late"', ["the next one comes too late"]),
        ('x = "times {:g} for group {}"', ["times {0} for group {1}"]),
        ('x = "gauge {name} is off"', ["gauge {name} is off"]),
    ],
)
def test_a_text_is_found_with_its_holes_numbered(source, found):
    assert texts_of(source) == found


@pytest.mark.parametrize(
    "source",
    [
        '"""A docstring of a module."""',
        'def f():\n    """What it does, in words."""',
        'x = 1\n"""A note on x, in words."""',
        'x = "SELECT a FROM b WHERE c = ?"',
        '_log.warning("%s: nothing of use", x)',
        'x = "slug-without-blank"',
        'x = re.compile(r"(one|two) words")',
        'x = f"{a} {b}"',
    ],
)
def test_what_no_person_reads_is_left_out(source):
    assert texts_of(source) == []


def test_what_is_yielded_counts():
    source = "def rule(values):\n    yield Problem('end', 'lies before start', 'say when')"

    assert texts_of(source) == ["lies before start", "say when"]


def test_of_a_page_s_code_only_refusals_count():
    source = 'x = "a text of a page"\nraise Refusal(f"{x} is not here.")'

    assert texts_of(source, raised_only=True) == ["{0} is not here."]
