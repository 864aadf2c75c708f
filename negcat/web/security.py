"""What a page may do, and under which names this server answers.

Every answer carries a content security policy, ``nosniff`` and a ban on framing. The archive's own pages run
under the strictest policy there is: no inline script, no inline style, nothing from elsewhere. Datasette's
pages have a few inline scripts of their own; those, and no others, are let through by their hash.
"""

from __future__ import annotations

import base64
import hashlib
import ipaddress
import re
import socket
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import urlsplit

__all__ = [
    "HEADERS",
    "OWN_POLICY",
    "answers_to",
    "datasettes_policy",
    "is_from_here",
    "is_loopback",
    "refusal",
]

OWN_POLICY = (
    "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""The policy of the archive's own pages."""

HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (
        b"permissions-policy",
        b"camera=(), display-capture=(), geolocation=(), microphone=(), midi=(), payment=(), usb=()",
    ),
    (b"x-permitted-cross-domain-policies", b"none"),
)
"""What every answer bears, unless it says otherwise itself."""

_LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
_HOST = re.compile(r"(?:\[(?P<six>[0-9A-Fa-f:.]+)\]|(?P<name>[^\[\]:/@\s]+))(?::\d{1,5})?", re.ASCII)
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)


def answers_to(host: str, server: str | None, named: Iterable[str] = ()) -> bool:
    """Tell whether a ``Host`` header names this server.

    A page from elsewhere can make its own name point at this machine and then read the archive as if it were
    its own; it can't make the browser send another name. So the name is what counts. The port isn't
    looked at: it may differ for honest reasons (a tunnel, a forwarded port) and protects from nothing.

    Parameters
    ----------
    host : the header as sent, with or without a port.
    server : the address on which the connection arrived; None where there is none (a Unix socket).
    named : further names the server goes by.

    Returns
    -------
    bool

    Examples
    --------
    >>> answers_to("localhost:8001", "127.0.0.1"), answers_to("elsewhere.example:8001", "127.0.0.1")
    (True, False)
    >>> answers_to("[::1]:8001", "::1"), answers_to("192.0.2.7:8001", "192.0.2.7")
    (True, True)
    """
    match = _HOST.fullmatch(host)
    if match is None:
        return False
    name = (match["six"] or match["name"]).lower().removesuffix(".")
    names = {other.lower() for other in named}
    if server is None or is_loopback(server):
        names |= _LOOPBACK_NAMES
    else:
        own = socket.gethostname().lower()
        names |= {server.lower(), own, f"{own}.local"}
    return name in names


def is_loopback(address: str) -> bool:
    """Tell whether an address is this machine's own, which no other can reach."""
    if address.lower() in _LOOPBACK_NAMES:
        return True
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def refusal(hosts: Sequence[str], server: str | None, named: Iterable[str]) -> str | None:
    """Say why a request isn't answered, or None.

    Parameters
    ----------
    hosts : its ``Host`` headers, of which there has to be one.
    server, named : as :func:`answers_to`.
    """
    if len(hosts) == 1 and answers_to(hosts[0], server, named):
        return None
    asked = f"“{hosts[0]}”" if len(hosts) == 1 else "no one name"
    return (
        f"The request is addressed to {asked}, which is not a name of this server: open it under the address "
        "that negcat serve printed, or list the name under plugins, negcat, hosts in Datasette's metadata."
    )


def is_from_here(headers: Mapping[bytes, bytes], known: str) -> bool:
    """Tell whether a browser says that what it sends comes from a page of this server.

    ``Sec-Fetch-Site`` (W3C Fetch Metadata) and ``Origin`` are set by the browser and can't be forged by a
    page. A program that sends neither still needs the token.

    Parameters
    ----------
    headers : of the request, names in small letters.
    known : the origin under which something hands requests on to this server; empty for none.

    Examples
    --------
    >>> is_from_here({b"host": b"localhost:8421", b"origin": b"http://localhost:8421"}, "")
    True
    >>> is_from_here({b"host": b"localhost:8421", b"origin": b"http://elsewhere.example"}, "")
    False
    """
    if headers.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
        return False
    if b"origin" not in headers:
        return True
    origin = headers[b"origin"].decode("latin-1").lower()
    try:
        sender = urlsplit(origin).netloc
    except ValueError:
        return False
    return origin == known or sender == headers.get(b"host", b"").decode("latin-1").lower()


def datasettes_policy(datasette: Any) -> str:
    """Write the policy of Datasette's own pages: inline scripts by hash, inline styles as they are."""
    scripts = ["DATASETTE_ALLOW_FACET = true;", "DATASETTE_ALLOW_FACET = false;"]
    for name in ("_close_open_menus.html", "_codemirror_foot.html"):
        source = datasette.jinja_env.loader.get_source(datasette.jinja_env, f"default:{name}")[0]
        scripts += _SCRIPT.findall(source)
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"
        for script in scripts
    )
    return (
        "default-src 'none'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; "
        f"script-src 'self' {hashes}; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )
