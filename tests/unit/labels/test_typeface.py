"""Our reading of the faces against an independent one (reportlab's)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase.ttfonts import TTFont

from labels.text import width_em
from labels.typeface import ASCENT, DESCENT, FOLDER, Face, metrics


@pytest.mark.parametrize("face", list(Face))
def test_widths_are_those_that_the_drawing_library_uses(face: Face) -> None:
    drawn = TTFont(face.value, str(face.path), shapable=False)

    for character in metrics(face).advance:
        if character not in "\xa0":
            assert width_em(character, face) * 1000 == pytest.approx(
                drawn.stringWidth(character, 1000), abs=1.0
            ), hex(ord(character))


@given(st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=30))
def test_code_letters_are_all_of_one_width(text: str) -> None:
    assert width_em(text, Face.CODE) == pytest.approx(len(text) * width_em("0", Face.CODE))


def test_latin_letters_stay_within_the_line() -> None:
    for face in Face:
        measures = metrics(face)
        letters = {chr(code) for code in range(0x20, 0x7F)}
        assert letters <= set(measures.advance)
        assert not letters & set(measures.top)
        assert not letters & set(measures.bottom)
    assert pytest.approx(1.17) == ASCENT + DESCENT


def test_the_faces_carry_their_licence() -> None:
    licence = (FOLDER / "LICENSE.txt").read_text("utf-8")

    assert "Permission is hereby granted, free of charge" in licence
    assert "DejaVu" in licence
