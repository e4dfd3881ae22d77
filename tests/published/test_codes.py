"""Check characters against printed ones and an independent library."""

import json
import random
from pathlib import Path

import pytest
from stdnum.iso7064 import mod_37_36

from crib.codes import ALPHABET, check_character, make_code

ROWS = json.loads(
    (Path(__file__).parents[2] / "fixtures/published/codes.json").read_text("utf-8")
)


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_a_check_character_is_the_printed_one(agrees, row):
    agrees(row, "check", row["expected"]["check"], check_character(row["inputs"]["body"]))


def test_a_general_library_finds_the_same_check_characters():
    chance = random.Random(7064)  # noqa: S311 - no secret
    for _ in range(500):
        body = "".join(chance.choices(ALPHABET, k=chance.randint(1, 20)))

        assert check_character(body) == mod_37_36.calc_check_digit(body)


def test_a_general_library_accepts_every_code_that_is_made():
    for kind in "AHSLGP":
        for number in (0, 1, 35, 36, 36**4, 36**5 - 1, 36**5):
            assert mod_37_36.is_valid(make_code(kind, number))
