"""Item codes: kind letter, body, check character; made, read, and checked for typing errors.

A code is one kind letter, five or more characters of 0-9 A-Z and one check character after
ISO/IEC 7064, MOD 37,36.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from crib.errors import BadCode
from crib.sentence import sentence, together

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
KINDS = {
    "A": sentence("tool assembly"),
    "H": sentence("holder"),
    "S": sentence("station"),
    "L": sentence("lot"),
    "G": sentence("gauge"),
    "P": sentence("person"),
}

_SHAPE = re.compile(r"[AHSLGP][0-9A-Z]{5,}[0-9A-Z]", re.ASCII)
_ADDRESS = re.compile(r"https?://[^/\s]+/C/([^/?#\s]+)/?", re.IGNORECASE | re.ASCII)


class Code(NamedTuple):
    """A code that passed its check character."""

    kind: str
    text: str


def check_character(body: str) -> str:
    """Check character of ``body`` (0-9 A-Z) after ISO/IEC 7064, MOD 37,36 (hybrid system).

    Raises:
        BadCode: A character outside 0-9 A-Z, or nothing at all.

    Examples:
        >>> check_character("A12425GABC1234002")
        'M'
    """
    if not body:
        raise BadCode(sentence("There is nothing to compute a check character from."))
    product = 36
    for position, character in enumerate(body, start=1):
        value = ALPHABET.find(character)
        if value < 0:
            raise BadCode(
                sentence(
                    "'{character}' at position {position} is not one of 0-9 A-Z.",
                    character=character,
                    position=position,
                ),
                facts={"position": position},
            )
        total = (product + value) % 36 or 36
        product = total * 2 % 37
    return ALPHABET[(37 - product) % 36]


def make_code(kind: str, number: int) -> str:
    """The ``number``-th code of a kind (from 0); five base-36 characters, more when used up.

    Raises:
        ValueError: A kind that is not known, or a number below 0.

    Examples:
        >>> make_code("H", 1)
        'H00001K'
    """
    if kind not in KINDS or number < 0:
        raise ValueError(f"no code of kind {kind!r} with number {number}")
    body = ""
    while number:
        number, digit = divmod(number, 36)
        body = ALPHABET[digit] + body
    text = kind + body.rjust(5, "0")
    return text + check_character(text)


def strip_address(text: str) -> str:
    """The bare text of a scan: an address ``https://HOST/C/CODE`` loses its host."""
    stripped = text.strip()
    address = _ADDRESS.fullmatch(stripped)
    return address.group(1) if address else stripped


def looks_like_code(text: str) -> bool:
    """Whether text has a code's shape, whatever its check character says."""
    return bool(_SHAPE.fullmatch(strip_address(text).upper()))


def parse_code(text: str) -> Code:
    """Read a scanned or typed code, bare or as an address, in any case.

    Raises:
        BadCode: Not a code, or its check character is wrong (mistyped).
    """
    bare = strip_address(text).upper()
    if not _SHAPE.fullmatch(bare):
        raise BadCode(
            sentence(
                "'{text}' is not a code: one letter of {kinds}, at least five "
                "characters 0-9 A-Z and a check character.",
                text=text.strip()[:60],
                kinds=together("/", KINDS),
            ),
            facts={"text": text.strip()[:60]},
        )
    wanted = check_character(bare[:-1])
    if bare[-1] != wanted:
        raise BadCode(
            sentence(
                "'{bare}' is mistyped: its check character does not match. Scan it "
                "again or compare it with the label.",
                bare=bare,
            ),
            facts={"text": bare},
        )
    return Code(bare[0], bare)
