"""What a symbol carries: printed and read back, refused where it cannot be carried."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.codes import KINDS, make_code
from crib.errors import BadCode, Invalid
from labels.payload import make_payload, parse_payload

HOSTS = st.from_regex(r"[a-z0-9]([a-z0-9.-]{0,40}[a-z0-9])?(:[0-9]{2,5})?", fullmatch=True)


@given(st.sampled_from(sorted(KINDS)), st.integers(0, 36**6), st.none() | HOSTS)
def test_what_is_printed_reads_back_as_the_same_code(
    kind: str, number: int, host: str | None
) -> None:
    code = make_code(kind, number)
    address = f"https://{host}" if host else None

    payload = make_payload(code, address)

    assert parse_payload(payload).text == code
    assert parse_payload(payload.lower()).kind == kind


@given(HOSTS)
def test_a_payload_stays_in_alphanumeric_mode(host: str) -> None:
    payload = make_payload(make_code("A", 1), f"http://{host}/")

    assert set(payload) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
    assert payload.startswith(f"HTTP://{host.upper()}/C/")


def test_a_bare_host_is_an_https_address() -> None:
    assert make_payload("H00001K", "crib.example") == "HTTPS://CRIB.EXAMPLE/C/H00001K"


@pytest.mark.parametrize(
    "address",
    [
        "https://crib.example/path",
        "https://crib_one.example",
        "https://crüb.example",
        "ftp://crib.example",
        "https://",
        "https://crib.example?x=1",
        "two words",
        "https://crib.example:123456",
    ],
)
def test_an_address_that_a_symbol_cannot_carry_is_refused(address: str) -> None:
    with pytest.raises(Invalid, match="not an address that a label can carry"):
        make_payload("H00001K", address)


def test_a_mistyped_code_is_never_printed() -> None:
    with pytest.raises(BadCode, match="mistyped"):
        make_payload("H00001J", "https://crib.example")
