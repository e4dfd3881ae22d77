"""Payload to modules: rectangles that cover exactly the dark ones, sizes in whole dots."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from qrcode import QRCode, constants, util

from crib.errors import Invalid
from labels.code_symbol import dots_per_module, make_symbol

TEXTS = st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ.-/:", min_size=1, max_size=120)


@given(TEXTS)
def test_the_runs_cover_the_dark_modules_and_each_once(text: str) -> None:
    symbol = make_symbol(text)
    drawn = np.zeros((symbol.modules, symbol.modules), dtype=int)

    for column, row, columns, rows in symbol.runs:
        drawn[row : row + rows, column : column + columns] += 1

    assert drawn.max() == 1
    reference = QRCode(
        version=symbol.version,
        error_correction=getattr(constants, f"ERROR_CORRECT_{symbol.level}"),
        border=0,
        mask_pattern=3,
    )
    reference.add_data(util.QRData(text, mode=util.MODE_ALPHA_NUM))
    reference.make(fit=False)
    assert (drawn == np.array(reference.modules, dtype=int)).all()


def test_equal_runs_below_each_other_are_merged() -> None:
    symbol = make_symbol("H00001K")

    # The middle of a finder pattern is one square of three by three.
    assert (2, 2, 3, 3) in symbol.runs


@pytest.mark.parametrize("text", ["", "lower", "Ä", "A_B", "A" * 400])
def test_text_outside_a_label_symbol_is_refused(text: str) -> None:
    with pytest.raises(Invalid):
        make_symbol(text)


@given(st.integers(29, 73), st.floats(1, 80), st.sampled_from([203, 300, 600]))
def test_a_symbol_fits_its_room_with_whole_dots_or_not_at_all(
    side_modules: int, room_mm: float, dpi: int
) -> None:
    dots = dots_per_module(side_modules, room_mm, dpi)

    if dots is None:
        assert side_modules * 3 * 25.4 / dpi > room_mm or dpi > 203
    else:
        module_mm = dots * 25.4 / dpi
        assert dots >= 3
        assert 0.33 <= module_mm <= 0.8
        assert side_modules * module_mm <= room_mm + 1e-6


def test_four_dots_at_203_dpi_are_half_a_millimetre() -> None:
    # Common practice for hand scanners on oily labels, no source.
    assert dots_per_module(29, 15.0, 203) == 4
    assert pytest.approx(0.5, abs=0.001) == 4 * 25.4 / 203
