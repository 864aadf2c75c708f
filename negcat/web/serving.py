"""What ``negcat serve`` starts: Datasette with this plugin, under uvicorn.

The socket is bound before anything is printed, so that the address printed is one that answers, and a port
that is taken is a sentence and no traceback.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import uvicorn
from datasette.app import Datasette

from negcat.errors import NegcatError
from negcat.web.door import HEAD_BYTES
from negcat.web.keys import LINK_S
from negcat.web.listening import IDLE_S, protocol
from negcat.web.signing_in import link
from negcat.web.visitors import keys_of
from negcat.work.archive import CATALOGUE_NAME

__all__ = ["ServingError", "assemble", "bind", "serve"]


class ServingError(NegcatError):
    """The address can't be listened on."""


def assemble(
    root: Path,
    *,
    hosts: tuple[str, ...] = (),
    sign_in: bool = False,
    public_read: bool = False,
    behind: str = "",
) -> Any:
    """Put Datasette together for an archive.

    Parameters
    ----------
    root : the archive's folder.
    hosts : names under which it is reached besides its own address.
    sign_in : whether reading asks for signing in.
    public_read : whether others read without; they get the archive's own pages, and no tables.
    behind : the address under which something else hands requests on; empty for none.
    """
    plugin = {"hosts": list(hosts), "public_read": public_read, "behind": behind, "for_others": sign_in}
    metadata: dict[str, Any] = {"title": root.absolute().name, "plugins": {"negcat": plugin}}
    # Suggesting facets reads whole tables; on a hundred thousand sheets that takes seconds.
    settings: dict[str, Any] = {"suggest_facets": False, "default_cache_ttl": 0}
    if sign_in:
        metadata["allow"] = {"id": "root"}
    if sign_in or public_read:
        metadata["allow_sql"] = {"id": "root"}
        settings |= {"default_allow_sql": False, "allow_download": False, "allow_csv_stream": False}
    if behind:
        settings |= {
            "force_https_urls": behind.startswith("https:"),
            "base_url": f"/{urlsplit(behind).path.strip('/')}/".replace("//", "/"),
        }
    return Datasette([str(root.absolute() / CATALOGUE_NAME)], metadata=metadata, settings=settings)


def bind(host: str, port: int) -> socket.socket:
    """Take hold of an address to listen on.

    Parameters
    ----------
    host : a name or address of this machine.
    port : 0 for any that is free.

    Raises
    ------
    ServingError : the host isn't this machine's, the port is taken or not allowed.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except (OSError, OverflowError) as error:
        raise ServingError(
            f"{host} is no address that can be listened on: give one of this machine's."
        ) from error
    listener = socket.socket(family, kind, protocol)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(128)
    except (OSError, OverflowError) as error:
        listener.close()
        said = getattr(error, "strerror", None) or error
        raise ServingError(
            f"Port {port} on {host} can't be listened on ({said}): choose another with --port, "
            "or --port 0 for any that is free."
        ) from error
    return listener


def serve(
    root: Path,
    host: str,
    port: int,
    *,
    say: Callable[[str], object],
    public_read: bool = False,
    behind: str = "",
) -> None:
    """Serve an archive until interrupted.

    Parameters
    ----------
    root : the archive's folder.
    host, port : where to listen; port 0 for any that is free.
    say : called with each line for the user: the address and the sign-in link, and each further link.
    public_read : on an address that other machines reach, let anyone read without signing in.
    behind : the address, best with https, under which something else hands requests on; empty for none.

    Raises
    ------
    ServingError : the address can't be listened on, or there is none such as `behind` says.
    """
    behind = _read_behind(behind)
    listener = bind(host, port)
    bound, at = listener.getsockname()[:2]
    everywhere = ipaddress.ip_address(bound.partition("%")[0]).is_unspecified
    local = ipaddress.ip_address(bound.partition("%")[0]).is_loopback and not behind
    datasette = assemble(
        root,
        hosts=() if everywhere else (host,),
        sign_in=not local and not public_read,
        public_read=not local and public_read,
        behind=behind,
    )
    name = socket.gethostname() if everywhere else host
    address = _origin(behind) or f"http://{f'[{name}]' if ':' in name else name}:{at}"
    keys = keys_of(datasette)
    keys.announce = lambda secret: say(
        f"A new sign-in link, as was asked for: {link(datasette, address, secret)}"
    )
    first = link(datasette, address, datasette._root_token)
    lasting = f"works once, within {LINK_S // 60} minutes"
    if local or public_read:
        say(f"{address}{datasette.urls.path('/')}")
        say(f"To write as well, sign in by this link, which {lasting}: {first}")
    else:
        say(first)
        say(
            f"Open that link to sign in; it {lasting}, and nobody reads the archive without it."
            + (
                ""
                if behind
                else f" Where {name} isn't known by name, put this machine's address in its place."
            )
        )
    configuration = uvicorn.Config(
        datasette.app(),
        http=protocol(behind=bool(behind)),
        h11_max_incomplete_event_size=HEAD_BYTES,
        timeout_keep_alive=IDLE_S,
        # What strangers send wrongly is answered, and not told here.
        log_level="error",
        access_log=False,
        lifespan="on",
        ws="none",
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=2,
    )
    try:
        uvicorn.Server(configuration).run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        listener.close()


def _read_behind(written: str) -> str:
    """See that an address can be handed on from."""
    if not written:
        return ""
    try:
        parts = urlsplit(written)
        good = parts.scheme in ("http", "https") and parts.hostname and parts.port != 0
    except ValueError:
        good = False
    if not good or parts.query or parts.fragment or "@" in parts.netloc:
        raise ServingError(
            f"“{written}” is no address that requests can be handed on from: write it like "
            "https://negatives.example/ or https://example.org/negatives/."
        )
    return written


def _origin(behind: str) -> str:
    return "{0.scheme}://{0.netloc}".format(urlsplit(behind)) if behind else ""
