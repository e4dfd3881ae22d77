"""Words on paper: what prints, how it shrinks, where it is cut."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labels.text import (
    ELLIPSIS,
    LONGEST_CHARACTERS,
    PT_MM,
    REPLACEMENT,
    fit,
    printable,
    shown,
    width_em,
    wrap,
)
from labels.typeface import ASCENT, DESCENT, Face, metrics

ANY = st.text(max_size=80)


@given(ANY)
def test_whatever_comes_prints_with_glyphs_of_the_face_alone(text: str) -> None:
    clean = printable(text)
    drawn = shown(clean)

    assert set(drawn) <= set(metrics(Face.TEXT).advance)
    assert not any(unicodedata.category(c) in ("Cc", "Cf", "Cs") for c in drawn)
    assert printable(clean) == clean
    assert clean == clean.strip()
    assert "  " not in clean


@pytest.mark.parametrize(
    ("raw", "clean"),
    [
        ('3/8" boring bar', '3/8" boring bar'),
        ("O'Ring «fine» <b>&amp;</b>", "O'Ring «fine» <b>&amp;</b>"),
        ("two\nlines\tand\r\nmore", "two lines and more"),
        ("bell\x07 null\x00 escape\x1b[31m", "bell null escape[31m"),
        ("turn\u202ecod.exe", "turncod.exe"),
        ("zero\u200bwidth\ufeff", "zerowidth"),
        ("Müller", "Müller"),
        ("Mu\u0308ller", "Müller"),
        ("\u0301lead", "lead"),
        ("tool 🔧🔧", f"tool {REPLACEMENT}"),
        ("lone \ud800", f"lone {REPLACEMENT}"),
        ("", ""),
    ],
)
def test_names_print_sensibly(raw: str, clean: str) -> None:
    assert printable(raw) == clean


def test_hebrew_reads_from_right_to_left() -> None:
    # Unicode Standard Annex 9: numbers keep their direction inside right-to-left text.
    assert shown("שלום") == "םולש"
    assert shown("כלי 12") == "12 ילכ"


def test_arabic_letters_are_joined_and_turned() -> None:
    # Forms of beh, alef: U+FE91 initial, U+FE8E final (Unicode, Arabic Presentation Forms-B).
    assert shown("با") == "\ufe8e\ufe91"
    assert shown("لا") == "\ufefb"


@given(ANY, st.floats(1, 60), st.sampled_from(list(Face)))
def test_a_fitted_text_is_never_wider_than_its_room(
    text: str, room_mm: float, face: Face
) -> None:
    fitted = fit(printable(text), face, room_mm, 10.0, 5.0)

    assert fitted is not None
    assert fitted.width_mm <= room_mm + 1e-6
    assert width_em(fitted.shown, face) * fitted.size_pt * PT_MM == pytest.approx(
        fitted.width_mm
    )
    assert fitted.size_pt <= 10.0


def test_a_text_shrinks_first_and_is_cut_only_at_the_floor() -> None:
    text = "TURN-ROUGH-35"
    natural = width_em(text, Face.TEXT) * 10.0 * PT_MM

    whole = fit(text, Face.TEXT, natural, 10.0, 5.0)
    shrunk = fit(text, Face.TEXT, natural * 0.6, 10.0, 5.0)
    cut = fit(text, Face.TEXT, natural * 0.4, 10.0, 5.0)

    assert whole is not None
    assert (whole.shown, whole.size_pt, whole.cut) == (text, 10.0, False)
    assert shrunk is not None
    assert (shrunk.shown, shrunk.size_pt, shrunk.cut) == (text, pytest.approx(6.0), False)
    assert cut is not None
    assert cut.cut
    assert cut.size_pt == 5.0
    assert cut.shown.endswith(ELLIPSIS)
    assert text.startswith(cut.shown[:-1])
    assert len(cut.shown) > 8


def test_right_to_left_text_is_cut_at_its_reading_end() -> None:
    text = "אבגדהוזחטיכלמנסעפצקרשת"

    cut = fit(text, Face.TEXT, 10.0, 8.0, 8.0)

    assert cut is not None
    assert cut.cut
    assert cut.shown.startswith(ELLIPSIS)
    assert cut.shown.endswith("א")


def test_what_may_not_be_cut_is_refused_instead() -> None:
    assert fit("+1234.5678", Face.BOLD, 5.0, 10.0, 7.0, may_cut=False) is None
    uncut = fit("+1234.5678", Face.BOLD, 20.0, 10.0, 7.0, may_cut=False)
    assert uncut is not None
    assert uncut.shown == "+1234.5678"


@given(ANY, st.floats(8, 60))
def test_wrapped_lines_fit_and_lose_nothing(text: str, width_mm: float) -> None:
    clean = printable(text)

    lines = wrap(clean, Face.TEXT, width_mm, 8.0)

    for line in lines:
        assert width_em(line, Face.TEXT) * 8.0 * PT_MM <= width_mm + 1e-6
    if clean.isascii():
        assert "".join(lines).replace(" ", "") == clean.replace(" ", "")


def test_a_long_word_breaks_after_its_hyphen() -> None:
    width = width_em("TURN-ROUGH-3", Face.BOLD) * 8.0 * PT_MM

    assert wrap("TURN-ROUGH-35", Face.BOLD, width, 8.0) == ["TURN-ROUGH-", "35"]


def test_a_whole_book_is_cut_before_it_is_measured() -> None:
    assert len(printable("ü" * 1_000_000)) <= LONGEST_CHARACTERS


@pytest.mark.parametrize("text", ["ẪṨ", "Ǘ̌", "ڳ"])
def test_stacked_accents_shrink_until_they_stay_in_the_line(text: str) -> None:
    fitted = fit(printable(text), Face.BOLD, 50.0, 10.0, 5.0)

    assert fitted is not None
    measures = metrics(Face.BOLD)
    top = max(measures.top.get(character, ASCENT) for character in fitted.shown)
    low = min(measures.bottom.get(character, -DESCENT) for character in fitted.shown)
    assert (top, low) != (ASCENT, -DESCENT)
    assert top * fitted.size_pt <= ASCENT * 10.0 + 1e-9
    assert low * fitted.size_pt >= -DESCENT * 10.0 - 1e-9
