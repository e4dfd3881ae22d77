"""Refuses requests by where they come from: foreign host names, pages of other sites."""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

from flask import Flask, request

from api.http.site import this_site
from crib.errors import NotAllowed, Refusal
from crib.sentence import sentence

#: Longest form of a page [bytes].
_FORM = 100_000
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class ForeignHost(Refusal):
    """The request asks for a host name that is not this service's."""

    kind = "foreign-host"


def register(app: Flask) -> None:
    """Check every request of an app before anything else runs."""
    app.before_request(refuse_foreign_host)
    app.before_request(refuse_foreign_page)
    app.before_request(_keep_forms_small)


def refuse_foreign_host() -> None:
    """Refuse a host name that is not ours, since its owner may point it here.

    A browser takes a page of such a name and this service for one site, so the page could
    read and write here (DNS rebinding). Nobody can do that with a bare address. Every address
    is accepted: behind a router or in a container the service does not know its own.
    A request without a Host header does not come from a browser.

    Raises:
        ForeignHost: The name is neither loopback, nor the public address, nor in CRIB_HOSTS.
    """
    said = request.environ.get("HTTP_HOST")
    if said is None:
        return
    name = host_name(said)
    if name in this_site().settings.host_names or _is_loopback(name) or _is_address(name):
        return
    raise ForeignHost(
        sentence(
            "'{name}' is not a name of this service. If it is yours, add it to the setting "
            "CRIB_HOSTS, or make it CRIB_PUBLIC_ADDRESS.",
            name=name[:100],
        ),
        facts={"setting": "CRIB_HOSTS"},
    )


def refuse_foreign_page() -> None:
    """Refuse what another site's page sends in a person's name.

    Browsers say where a request comes from: ``Sec-Fetch-Site`` over https and on this machine,
    ``Origin`` on plain http too. Programs say neither.

    Raises:
        NotAllowed: It comes from elsewhere.
    """
    if request.method in _SAFE:
        return
    said = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin")
    if said is not None:
        ours = said in {"same-origin", "none"}
    else:
        ours = origin is None or _host_of(origin) == request.host.lower()
    if not ours:
        raise NotAllowed(
            sentence("This form was sent from a page of another site. Nothing was recorded.")
        )


def _host_of(origin: str) -> str | None:
    try:
        return urlsplit(origin).netloc.lower()
    except ValueError:  # no address: no browser sends it, and it is nobody's page
        return None


def host_name(host: str) -> str:
    """The name of a Host header: lower case, without port and final dot.

    Examples:
        >>> host_name("Crib.Example.:8000"), host_name("[::1]:8000")
        ('crib.example', '[::1]')
    """
    name, colon, port = host.strip().rpartition(":")
    if not colon or not (port == "" or (port.isascii() and port.isdigit())):
        name = host.strip()
    return name.lower().removesuffix(".")


def _is_loopback(name: str) -> bool:
    return name == "localhost" or name.endswith(".localhost")  # RFC 6761, 6.3


def _is_address(name: str) -> bool:
    try:
        if name.startswith("["):
            return name.endswith("]") and bool(ipaddress.IPv6Address(name[1:-1]))
        return bool(ipaddress.IPv4Address(name))
    except ValueError:
        return False


def _keep_forms_small() -> None:
    """Limit the size of forms: our own hold a few fields of text."""
    if not request.mimetype.endswith("json"):
        request.max_content_length = min(request.max_content_length or _FORM, _FORM)
