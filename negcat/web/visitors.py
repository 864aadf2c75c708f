"""Who asks: from which address, whether they have signed in, and whether they sit at this machine.

*At this machine* is a request that arrives at a loopback address and says of itself nothing of having been
handed on. On a server for others (``--host``, ``--behind``) nobody is taken to be, as what hands on sits at
this machine too.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any
from urllib.parse import urlsplit
from weakref import WeakKeyDictionary

from datasette.utils import await_me_maybe
from datasette.utils.asgi import Request

from negcat.web.keys import Keys
from negcat.web.security import is_loopback

__all__ = ["COOKIE", "Served", "Visitor", "keys_of", "served", "visitor"]

COOKIE = "ds_actor"
"""The cookie that a session is known by. Datasette's own name, so that its pages offer signing out."""

_HANDED_ON = {
    b"forwarded",
    b"via",
    b"x-forwarded-for",
    b"x-forwarded-host",
    b"x-forwarded-proto",
    b"x-real-ip",
}

_keys: WeakKeyDictionary[Any, Keys] = WeakKeyDictionary()


def keys_of(datasette: Any) -> Keys:
    """Give a server's sign-in link and sessions; its first link is the one that Datasette prints."""
    if datasette not in _keys:
        _keys[datasette] = Keys(datasette._root_token)
    return _keys[datasette]


@dataclass(frozen=True)
class Served:
    """How an archive is served; from plugins, negcat in Datasette's metadata.

    Parameters
    ----------
    hosts : names it goes by besides its own address.
    behind : the address, with https, under which something else hands requests on to it; empty for none.
    public_read : whether others may read without signing in.
    for_others : whether it is meant to be reached from other machines, so that nobody sits at this one.
    """

    hosts: tuple[str, ...] = ()
    behind: str = ""
    public_read: bool = False
    for_others: bool = False

    @property
    def https(self) -> bool:
        """Whether browsers reach it by https."""
        return self.behind.startswith("https:")

    @property
    def origin(self) -> str:
        """What browsers call it where something hands requests on to it; empty where nothing does."""
        return "{0.scheme}://{0.netloc}".format(urlsplit(self.behind)).lower() if self.behind else ""


def served(datasette: Any) -> Served:
    """Read how an archive is served."""
    settings: Mapping[str, Any] = datasette.plugin_config("negcat") or {}
    hosts = settings.get("hosts") or ()
    hosts = (hosts,) if isinstance(hosts, str) else tuple(str(host) for host in hosts)
    behind = str(settings.get("behind") or "")
    if behind:
        hosts = (*hosts, urlsplit(behind).hostname or "")
    public_read = settings.get("public_read") is True
    others = public_read or bool(behind) or settings.get("for_others") is True
    return Served(hosts, behind, public_read, others)


@dataclass(frozen=True)
class Visitor:
    """Who sent a request.

    Parameters
    ----------
    address : where it came from; what hands requests on is believed where it is known to be there.
    signed_in : whether the sign-in link was opened.
    session : what the session is called in the log of the door; empty without one.
    here : whether they sit at this machine, as far as can be told.
    """

    address: str
    signed_in: bool = False
    session: str = ""
    here: bool = False

    @property
    def is_stranger(self) -> bool:
        """Whether this is somebody elsewhere who has not signed in."""
        return not (self.here or self.signed_in)


async def visitor(datasette: Any, scope: MutableMapping[str, Any], how: Served) -> Visitor:
    """Tell who sent a request.

    Raises
    ------
    http.cookies.CookieError : the cookies can't be read.
    """
    # Imported first here: it loads the plugins, of which this is one.
    from datasette.plugins import pm

    request = Request(scope, None)
    actor = None
    for found in pm.hook.actor_from_request(datasette=datasette, request=request):
        actor = await await_me_maybe(found)
        if actor:
            break
    signed_in = isinstance(actor, Mapping) and actor.get("id") == "root"
    secret = request.cookies.get(COOKIE, "") if signed_in else ""
    server = str((scope.get("server") or ("",))[0])
    handed_on = any(key.lower() in _HANDED_ON for key, _ in scope.get("headers", []))
    return Visitor(
        _address(scope, how),
        signed_in,
        sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()[:8] if secret else "",
        here=is_loopback(server) and not handed_on and not how.for_others,
    )


def _address(scope: MutableMapping[str, Any], how: Served) -> str:
    peer = str((scope.get("client") or ("unknown",))[0])
    if not how.behind:
        return peer
    said = [value for key, value in scope.get("headers", []) if key.lower() == b"x-forwarded-for"]
    if not said:
        return peer
    # Whoever stands before us wrote the last one; what is before it, anybody may have written.
    last = said[-1].decode("latin-1").rpartition(",")[2].strip()
    try:
        return str(ipaddress.ip_address(last))
    except ValueError:
        return peer
