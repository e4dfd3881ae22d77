"""What a symbol carries: the bare code, or a public address that ends in it."""

from __future__ import annotations

import re

from crib.codes import Code, parse_code
from crib.errors import Invalid
from crib.sentence import sentence

#: Characters of QR's alphanumeric mode that a host and port may use (ISO/IEC 18004).
_HOST = re.compile(r"[A-Z0-9]([A-Z0-9.-]*[A-Z0-9])?(:[0-9]{1,5})?", re.ASCII)
_ADDRESS = re.compile(r"(?:(https?)://)?([^/\s]+)/?", re.IGNORECASE | re.ASCII)


def make_payload(code: str, address: str | None = None) -> str:
    """The text that a symbol carries, in capitals (QR's alphanumeric mode).

    Args:
        code: An item code.
        address: The site's public address, like ``https://crib.example``; None for none.

    Raises:
        BadCode: The code is mistyped.
        Invalid: The address has a path or characters that the symbol cannot carry.

    Examples:
        >>> make_payload("h00001k")
        'H00001K'
        >>> make_payload("H00001K", "https://crib.example")
        'HTTPS://CRIB.EXAMPLE/C/H00001K'
    """
    bare = parse_code(code).text
    prefix = address_prefix(address)
    return prefix + bare


def address_prefix(address: str | None) -> str:
    """What comes before the code: empty, or ``HTTPS://HOST/C/``.

    Raises:
        Invalid: As in :func:`make_payload`.
    """
    if not address:
        return ""
    whole = _ADDRESS.fullmatch(address.strip())
    host = whole.group(2).upper() if whole else ""
    if whole is None or not _HOST.fullmatch(host):
        raise Invalid(
            sentence(
                "'{address}' is not an address that a label can carry: write https:// "
                "and a host of A-Z 0-9 . - with a port where needed, and no path.",
                address=address[:80],
            ),
            errors=[{"field": "address", "detail": sentence("not a plain public address")}],
        )
    return f"{(whole.group(1) or 'https').upper()}://{host}/C/"


def parse_payload(text: str) -> Code:
    """Read what a scanner saw: a bare code or an address, in any case.

    Raises:
        BadCode: Not a code, or mistyped.

    Examples:
        >>> parse_payload("HTTPS://CRIB.EXAMPLE/C/H00001K").text
        'H00001K'
    """
    return parse_code(text)
