"""What a page may do, and whom it answers.

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
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

__all__ = ["OWN_POLICY", "Wrapper", "answers_to", "is_loopback", "wrapper"]

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]
Wrapper = Callable[[Application], Application]

OWN_POLICY = (
    "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""The policy of the archive's own pages."""

_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
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


def wrapper(datasette: Any, *, guarded: bool) -> Wrapper:
    """Wrap the application in the Host check and the headers.

    Parameters
    ----------
    datasette : the running Datasette.
    guarded : whether an archive is attached; without one the application is left as it is.

    Returns
    -------
    A function from application to application, as Datasette's ``asgi_wrapper`` hook wants it.
    """
    if not guarded:
        return lambda application: application

    def wrap(application: Application) -> Application:
        their_policy: list[bytes] = []
        names: list[str] = []

        async def guard(scope: Scope, receive: Receive, send: Send) -> None:
            if scope["type"] == "websocket":
                await receive()
                await send({"type": "websocket.close", "code": 1008})
                return
            if scope["type"] != "http":
                await application(scope, receive, send)
                return
            if not their_policy:
                their_policy.append(_datasettes_policy(datasette).encode("ascii"))
                names.extend(_names(datasette))

            async def send_guarded(message: Message) -> None:
                if message["type"] == "http.response.start":
                    headers = list(message.get("headers", []))
                    present = {key.lower() for key, _ in headers}
                    if b"content-security-policy" not in present:
                        headers.append((b"content-security-policy", their_policy[0]))
                    headers += [header for header in _HEADERS if header[0] not in present]
                    message = {**message, "headers": headers}
                await send(message)

            refusal = _refusal(scope, names)
            if refusal is None:
                await application(scope, receive, send_guarded)
                return
            body = refusal.encode()
            await send_guarded(
                {
                    "type": "http.response.start",
                    "status": 421,
                    "headers": [
                        (b"content-type", b"text/plain; charset=utf-8"),
                        (b"content-length", str(len(body)).encode()),
                        (b"cache-control", b"no-store"),
                    ],
                }
            )
            await send_guarded({"type": "http.response.body", "body": body})

        return guard

    return wrap


def _names(datasette: Any) -> list[str]:
    """Read the further names this server goes by, from Datasette's plugin settings."""
    settings = datasette.plugin_config("negcat") or {}
    hosts = settings.get("hosts") or []
    return [hosts] if isinstance(hosts, str) else [str(host) for host in hosts]


def _refusal(scope: Scope, named: Iterable[str]) -> str | None:
    """Say why a request isn't answered, or None."""
    hosts = [value.decode("latin-1") for key, value in scope.get("headers", []) if key.lower() == b"host"]
    server = (scope.get("server") or (None, None))[0]
    if len(hosts) == 1 and answers_to(hosts[0], server, named):
        return None
    asked = f"“{hosts[0]}”" if len(hosts) == 1 else "no one name"
    return (
        f"The request is addressed to {asked}, which is not a name of this server: open it under the address "
        "that negcat serve printed, or list the name under plugins, negcat, hosts in Datasette's metadata.\n"
    )


def _datasettes_policy(datasette: Any) -> str:
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
