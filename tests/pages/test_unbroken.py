"""Names that a narrow page keeps whole between their spaces, and numbers beside their word."""

import pytest

from api.pages.unbroken import unbroken


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("DRILL", "DRILL"),
        ("OD 12-D", 'OD <span class="unbroken">12-D</span>'),
        ("a-b  c-d", '<span class="unbroken">a-b</span>  <span class="unbroken">c-d</span>'),
        ("<i>-1", '<span class="unbroken">&lt;i&gt;-1</span>'),
        ("L-" * 13, "L-" * 13),  # wider than a phone may be
        ("place 10", "place\u00a010"),
        ("rack of L1, place 1", "rack of L1, place\u00a01"),
        ("cabinet 2, drawer 8", "cabinet\u00a02, drawer\u00a08"),
        ("TURN 12-D 3 x", 'TURN <span class="unbroken">12-D</span> 3 x'),
        ("A 3B", "A 3B"),
        ("", ""),
    ],
)
def test_words_with_a_hyphen_stay_whole_unless_they_are_wider_than_a_line(name, shown):
    assert str(unbroken(name)) == shown
