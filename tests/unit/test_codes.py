"""Item codes: made, read in any dress, told apart when mistyped."""

import pytest

from crib.codes import (
    ALPHABET,
    KINDS,
    Code,
    check_character,
    looks_like_code,
    make_code,
    parse_code,
    strip_address,
)
from crib.errors import BadCode


def test_codes_of_a_kind_are_distinct_and_read_back():
    codes = [make_code(kind, number) for kind in KINDS for number in range(0, 3000, 7)]

    assert len(set(codes)) == len(codes)
    for text in codes:
        assert parse_code(text) == Code(text[0], text)
        assert len(text) == 7


def test_a_code_grows_when_five_characters_are_used_up():
    text = make_code("H", 36**5)

    assert text[:-1] == "H100000"
    assert parse_code(text).kind == "H"


@pytest.mark.parametrize(
    "dress", ["{}", " {} \n", "HTTPS://CRIB.EXAMPLE/C/{}", "http://x/c/{}/"]
)
def test_a_code_is_read_bare_or_as_an_address_in_any_case(dress):
    text = make_code("A", 4711)

    assert parse_code(dress.format(text)).text == text
    assert parse_code(dress.format(text).lower()).text == text


def test_every_single_wrong_character_is_caught():
    text = make_code("S", 123)
    for position in range(1, len(text)):
        for character in ALPHABET:
            if character == text[position]:
                continue
            wrong = text[:position] + character + text[position + 1 :]
            with pytest.raises(BadCode, match="mistyped"):
                parse_code(wrong)


@pytest.mark.parametrize(
    "text", ["", "A", "X00001K", "A0000-1K", "A0001K", "Ａ00001K", "A\x0000001"]
)
def test_text_without_a_codes_shape_is_refused_as_such(text):
    assert not looks_like_code(text)
    with pytest.raises(BadCode, match="is not a code"):
        parse_code(text)


def test_an_address_of_something_else_is_left_alone():
    assert strip_address("https://host/other/A00001K") == "https://host/other/A00001K"
    assert not looks_like_code("https://host/C/A00001K/../x")


@pytest.mark.parametrize("body", ["", "a", "A-1", "É"])
def test_a_check_character_needs_a_plain_body(body):
    with pytest.raises(BadCode):
        check_character(body)


@pytest.mark.parametrize(("kind", "number"), [("X", 1), ("A", -1), ("", 0)])
def test_no_code_is_made_of_nonsense(kind, number):
    with pytest.raises(ValueError, match="no code"):
        make_code(kind, number)
